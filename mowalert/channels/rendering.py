"""The templates beside this file, in each language, and what they leave to be tidied."""

import re
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template, pass_eval_context, select_autoescape
from jinja2.nodes import EvalContext

from mowalert.channels.wording import wording_in
from mowalert.languages import sentence, translations

BEFORE_UNIT = re.compile(r"(?<=[\d¼½¾]) (?=(?:%|°[CF]|mm|cm|m|km|mi|in|ft|h|min|am|pm|pulgadas?)(?![\w/]))")
"""The space between a number and its unit."""


@cache
def template(name: str, language: str) -> Template:
    """Return a template of messages and sheets.

    Parameters
    ----------
    name : str
        Its file.
    language : str
        A code of ``LANGUAGES``.

    Returns
    -------
    Template
        Speaks that language; ``say`` words numbers, heights and days.
    """
    return _environment(language).get_template(name)


@cache
def _environment(language: str) -> Environment:
    environment = Environment(
        loader=PackageLoader("mowalert.channels"),
        undefined=StrictUndefined,
        autoescape=select_autoescape(["html"]),
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
        finalize=keep_together,
    )
    # The extension adds the method when it is loaded, unseen by types.
    environment.install_gettext_translations(translations(language), newstyle=True)  # type: ignore[attr-defined]
    environment.globals["say"] = wording_in(language)
    environment.filters["sentence"] = sentence
    return environment


def tidy(text: str) -> str:
    """Close up the gaps that absent parts leave."""
    lines = [line.rstrip() for line in text.splitlines()]
    closed_up = [line for line, before in zip(lines, ["", *lines], strict=False) if line or before]
    return "\n".join(closed_up).strip() + "\n"


@pass_eval_context
def keep_together(context: EvalContext, value: object) -> object:
    """Keep a number and its unit on one line; a template's ``finalize``, which leaves plain text as it is."""
    if context.autoescape and isinstance(value, str):
        return type(value)(BEFORE_UNIT.sub("\u00a0", value))
    return value
