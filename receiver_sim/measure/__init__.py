"""How one quantity is read off a loaded circuit: loop gain, the tank's mode, balance of amplitudes,
natural modes.
"""
