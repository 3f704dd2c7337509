"""Runs the program: `python -m slackwater`."""

from slackwater.cli.main import main

if __name__ == "__main__":
    main()
