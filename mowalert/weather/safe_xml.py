"""XML from strangers: no document type, so no entities to expand or fetch, and bounded in every direction."""

from typing import Any
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers.expat import ExpatError, ParserCreate

LARGEST = 4 * 1024 * 1024
DEEPEST = 40
MOST_ELEMENTS = 100_000


class RefusedXmlError(Exception):
    """XML that cannot be read, or must not be."""


class _Builder:
    """Builds a tree from the parser's events until something is too much."""

    def __init__(self) -> None:
        self._tree = TreeBuilder()
        self._depth = self._elements = 0
        self._parser = ParserCreate(namespace_separator=" ")
        self._parser.buffer_text = True
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._tree.data

    def build(self, data: bytes) -> Element:
        self._parser.Parse(data, True)
        return self._tree.close()

    def _doctype(self, *declared: Any) -> None:
        # Entities can only be declared in a document type; it is refused before it declares any.
        raise RefusedXmlError("a document type is not allowed")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        self._elements += 1
        if self._depth > DEEPEST or self._elements > MOST_ELEMENTS:
            raise RefusedXmlError("nested too deep" if self._depth > DEEPEST else "too many elements")
        self._tree.start(_tag(name), attributes)

    def _end(self, name: str) -> None:
        self._depth -= 1
        self._tree.end(_tag(name))


def _tag(name: str) -> str:
    """A name in the form of ElementTree: ``{namespace}local``."""
    namespace, _, local = name.rpartition(" ")
    return f"{{{namespace}}}{local}" if namespace else local


def read_xml(data: bytes) -> Element:
    """Read XML without trusting it.

    Parameters
    ----------
    data : bytes
        The document, at most ``LARGEST`` bytes.

    Returns
    -------
    Element
        Its root.

    Raises
    ------
    RefusedXmlError
        If it is no XML, has a document type, or is too large, deep or wide.
    """
    if len(data) > LARGEST:
        raise RefusedXmlError("too large")
    try:
        return _Builder().build(data)
    # Besides what is no XML: an encoding that Python does not know, or that is no encoding of texts.
    except (ExpatError, LookupError, ValueError, TypeError) as error:
        raise RefusedXmlError(f"no XML: {error}") from error


def local(element: Element) -> str:
    """Return an element's name without its namespace."""
    return element.tag.rpartition("}")[2]


def child_text(element: Element, name: str) -> str:
    """Return the text of the first child of a name; empty if there is none."""
    # Not by `find`: it would take a namespace from outside for a part of its query.
    return next(((child.text or "").strip() for child in element if local(child) == name), "")
