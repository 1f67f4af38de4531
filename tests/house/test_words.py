"""The text catalogue and those who use it agree; no text waits in vain, none is missing."""

import ast
import re

import pytest

from graduale.words.catalogue import keys, say, wanted
from tests.house.tree import modules


def _calls() -> list[tuple[str, ast.Call]]:
    return [
        (f"{name}:{node.lineno}", node)
        for name, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id == "say"
        and node.args
    ]


def test_every_text_asked_for_is_there_and_gets_its_values() -> None:
    wrong = []
    for place, call in _calls():
        key = call.args[0]
        if not isinstance(key, ast.Constant):
            continue
        given = {k.arg for k in call.keywords} - {"units"}
        if key.value not in keys() or (None not in given and given != wanted(str(key.value))):
            wrong.append(f"{place} {key.value} {given}")
    assert wrong == []


def test_every_text_is_used() -> None:
    literal = {str(c.args[0].value) for _, c in _calls() if isinstance(c.args[0], ast.Constant)}
    stems = {
        str(c.args[0].values[0].value)  # say(f"cli.help.{name}")
        for _, c in _calls()
        if isinstance(c.args[0], ast.JoinedStr) and isinstance(c.args[0].values[0], ast.Constant)
    } | {"progress."}
    idle = [k for k in keys() if k not in literal and not k.startswith(tuple(stems))]
    assert idle == []


@pytest.mark.parametrize("key", sorted(keys()))
def test_a_text_is_plain_and_short(key: str) -> None:
    text = say(key, **dict.fromkeys(wanted(key), 1.0))
    assert text == text.strip()
    assert 0 < len(text) < 200
    assert not re.search(r"[{}]|\bplease\b|\berror\b", text, flags=re.I)
