"""``python -m gpsq``: the command line where no command of that name is on the path."""

from gpsq.cli import main

if __name__ == "__main__":
    main()
