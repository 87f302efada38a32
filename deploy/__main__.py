"""`python -m deploy` is `paneltide`."""

from deploy.cli.commands import main

if __name__ == "__main__":
    main()
