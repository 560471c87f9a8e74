"""One module per command: ``arguments(parser)`` says what it takes, ``run(args)`` does it.

They are imported only when they are called, so that the command line answers at once.
"""
