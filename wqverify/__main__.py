"""python -m wqverify: the same as the command wqverify."""

from wqverify.cli import main

if __name__ == "__main__":
    main()
