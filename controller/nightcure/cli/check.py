"""nightcure check."""


def check() -> None:
    """x"""
