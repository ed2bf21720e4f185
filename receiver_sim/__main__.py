"""`python -m receiver_sim` does what `receiver-sim` does."""

from receiver_sim.cli import main

if __name__ == "__main__":
    main(prog_name="receiver-sim")
