"""`python -m deploy` is `paneltide`."""

from deploy.commands import main

main()
