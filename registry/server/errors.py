"""What keeps the service from starting, told to whoever typed the command."""


class StartError(Exception):
    """The service or its database can't start; the text says why and what to do."""


class InUseError(StartError):
    """Another process has the data folder."""
