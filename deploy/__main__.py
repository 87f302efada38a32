"""`python -m deploy` is `paneltide`."""

from deploy.cli.commands import main

main()
