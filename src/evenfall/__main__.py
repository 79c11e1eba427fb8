"""`python -m evenfall` is the command `evenfall`."""

from evenfall.cli.process import program

if __name__ == "__main__":
    program()
