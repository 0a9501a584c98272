"""Join the browser modules of a panel into the one module that a widget is given."""

from __future__ import annotations

import re
from importlib.resources import files

#: An import of one of our own modules: the text of that module stands before it.
_OWN_IMPORT = re.compile(r'^import \{[^}]*\} from "\./([a-z_]+)\.js";\n', re.MULTILINE)
#: What a module gives to others, and the name of it.
_EXPORT = re.compile(r"^export (?=(?:function|class|const) (\w+))", re.MULTILINE)


def joined_module(name: str) -> str:
    """
    Give the text of a browser module with all modules that it imports.

    Parameters
    ----------
    name : str
        Without the ending, such as ``"sections"``.

    Returns
    -------
    str
        One ES module; each imported one stands before it in a function of its own, so
        that what it does not export stays its own.

    Notes
    -----
    A notebook widget is one module without a place of its own, so that it cannot import
    its neighbours. No bundler is needed to put them together.
    """
    texts: dict[str, str] = {}
    _gather(name, texts)
    *imported, last = texts.values()
    return "".join(_closed(text) for text in imported) + last


def _closed(text: str) -> str:
    names = ", ".join(_EXPORT.findall(text))
    body = _EXPORT.sub("", text)
    return f"const {{ {names} }} = (() => {{\n{body}return {{ {names} }};\n}})();\n"


def style_sheet() -> str:
    """Give the style sheet of all panels."""
    return _text("panel.css")


def _gather(name: str, texts: dict[str, str]) -> None:
    text = _text(f"{name}.js")
    for other in _OWN_IMPORT.findall(text):
        if other not in texts:
            _gather(other, texts)
    texts[name] = _OWN_IMPORT.sub("", text)


def _text(file: str) -> str:
    return (files("fitkit.panels") / file).read_text(encoding="utf-8")
