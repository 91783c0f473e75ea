"""The colours of every page and picture: one palette for a light and a dark setting, and for print.

Room: colours by name to style sheets; what they colour stands where it is drawn. Nothing is told by
colour alone.
"""

LIGHT = {
    "ink": "#1c2b2d",
    "paper": "#fbfaf6",
    "line": "#b9c2bf",
    "band": "#dfe9e2",
    "bad": "#9c2f1f",
    "open": "#7a5a00",
    "good": "#1f6240",
}
DARK = {
    "ink": "#e6e9e4",
    "paper": "#15201f",
    "line": "#71827f",
    "band": "#24403a",
    "bad": "#ff9c88",
    "open": "#f0c869",
    "good": "#8fd3a9",
}
PRINTED = {
    "ink": "#000",
    "paper": "#fff",
    "line": "#999",
    "band": "#e4e4e4",
    "bad": "#8a1f10",
    "open": "#5c4400",
    "good": "#14492c",
}

FONT = 'Georgia, "Times New Roman", serif'


def named(selector: str, colours: dict[str, str]) -> str:
    """A rule that gives what is selected its colours, as `--ink` and so on.

    >>> named("p", {"ink": "#000"})
    'p { --ink: #000; }'
    """
    names = " ".join(f"--{name}: {value};" for name, value in colours.items())
    return f"{selector} {{ {names} }}"


def palette(selector: str) -> str:
    """Rules that follow the reader's setting: light, dark, printed."""
    dark, printed = named(selector, DARK), named(selector, PRINTED)
    return (
        f"\n{named(selector, LIGHT)}"
        f"\n@media (prefers-color-scheme: dark) {{ {dark} }}\n@media print {{ {printed} }}"
    )
