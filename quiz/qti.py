VERSIONS = ("2.1", "1.2")


def package(drill: object, version: str) -> bytes:
    """To come."""
    raise NotImplementedError
