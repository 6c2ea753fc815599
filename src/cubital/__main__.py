"""`python -m cubital`: the prompt where the command itself is not on the path."""

from cubital.cli.main import run

if __name__ == "__main__":
    run()
