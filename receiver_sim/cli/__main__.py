"""`python -m receiver_sim.cli` runs the command line."""

from receiver_sim.cli.program import main

if __name__ == "__main__":
    main()
