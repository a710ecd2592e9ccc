"""Common names of field keys, in the singular and the plural, however their words are joined.

Blackfly, black fly, black-fly and their plurals are one name, and so are "gilled snail" and "snail (gilled)".
Plurals follow English spelling; common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from watershedmap.taxa.names import make_key

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_IRREGULAR = {"louse": "lice", "man": "men", "mouse": "mice", "larva": "larvae"}
_SAME = ("fish", "shrimp", "olive", "caddis")
_HISSING = ("s", "x", "z", "ch", "sh")
_VOWELS = "aeiou"


def index_common_names(names: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Prepare common names for `find_common`.

    Parameters
    ----------
    names
        Pairs of a common name in the singular and its taxon; of equal names the later counts.

    Returns
    -------
    dict
        Taxon by the key of each name, in singular and plural.
    """
    pairs = [(form, taxon) for name, taxon in names for form in (name, *form_plurals(name))]
    return {_squeeze(make_key(form)): taxon for form, taxon in pairs}


def find_common(key: str, names: Mapping[str, str]) -> str | None:
    """Find the taxon of a common name.

    Parameters
    ----------
    key
        The name as written, by `make_key`.
    names
        As from `index_common_names`.

    Returns
    -------
    str or None
        The taxon; None when it is no common name, also not with its first word put last.
    """
    found = names.get(_squeeze(key))
    if found is not None or " " not in key:
        return found
    first, rest = key.split(" ", 1)
    return names.get(_squeeze(rest + first))


def form_plurals(name: str) -> tuple[str, ...]:
    """Form the plurals of an English name.

    Parameters
    ----------
    name
        The name in the singular; its last word is changed.

    Returns
    -------
    tuple of str
        One plural, or two where both are in use.
    """
    for ending, plural in _IRREGULAR.items():
        if name.endswith(ending):
            return (name.removesuffix(ending) + plural,)
    if name.endswith("y") and name[-2:-1] not in _VOWELS:
        return (f"{name[:-1]}ies",)
    regular = f"{name}es" if name.endswith((*_HISSING, "mosquito")) else f"{name}s"
    return (name, regular) if name.endswith(_SAME) else (regular,)


def _squeeze(key: str) -> str:
    return key.replace(" ", "")
