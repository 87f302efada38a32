"""How bad input is answered, and what is missing: one sentence that says what, where and what to do."""


class BadInput(ValueError):
    """Input that breaks a rule.

    Parameters
    ----------
    where : str
        File, topic, command option or record the value stands in; empty when there is none.
    what : str
        The key, column or quantity.
    rule : str
        The rule it must follow, as the rest of a sentence ("must lie in 0 to 100 %").
    got : object
        The value as it came.
    """

    def __init__(self, where: str, what: str, rule: str, got: object) -> None:
        shown = repr(got)
        if len(shown) > 120:
            shown = shown[:117] + "..."
        prefix = f"{where}: " if where else ""
        super().__init__(f"{prefix}{what} {rule}, got {shown}")
        self.where, self.what, self.rule, self.got = where, what, rule, got


class OutsideValidity(BadInput):
    """A scalar outside the range in which an equation is known to hold."""

    def __init__(self, what: str, rule: str, got: object) -> None:
        super().__init__("", what, rule, got)


class ServiceMissing(RuntimeError):
    """Something outside the program is not there: a database, broker, port or package.

    The message says which, and what to do.
    """
