"""An element of our own scripts: what a page is made of besides the browser's own."""

from typing import ClassVar

from dash.development.base_component import Component


class Element(Component):
    """A component that one of the scripts in `assets` draws, under its own name.

    A subclass names its properties in `PROPS`.
    """

    PROPS: ClassVar[tuple[str, ...]] = ()

    _children_props: list[str] = []  # noqa: RUF012
    _base_nodes = ["children"]  # noqa: RUF012
    _namespace = "paneltide"
    _valid_wildcard_attributes: list[str] = []  # noqa: RUF012
    available_properties: list[str] = []  # noqa: RUF012
    available_wildcard_properties: list[str] = []  # noqa: RUF012

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        cls._type = cls.__name__
        cls._prop_names = cls.available_properties = list(cls.PROPS)
