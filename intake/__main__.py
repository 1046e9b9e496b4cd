"""Lets ``python -m intake`` do what the command ``vatside`` does."""

from intake.main import main

if __name__ == "__main__":
    main()
