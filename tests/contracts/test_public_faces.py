"""What a script is meant to call: every name is there, and says what it takes, gives and raises."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import textwrap
from typing import Any

import pytest

# Packages, and modules whose names would be ambiguous in their package.
FACES = (
    "api.client",
    "api.rules",
    "api.rules.fitting",
    "api.rules.uncertainty",
    "api.rules.uncertainty.cmc",
    "api.rules.uncertainty.run_components",
    "graph",
)
HEADING = re.compile(r"^([A-Z][a-z]+)\n-+$", re.MULTILINE)
# An entry of a section begins at the margin: `name, other : type`, or the type alone.
ENTRY = re.compile(r"^(\S.*)$", re.MULTILINE)


def members(face: str) -> dict[str, Any]:
    """Functions and classes of a face, and the public methods that our classes have."""
    module = importlib.import_module(face)
    found: dict[str, Any] = {}
    for name in module.__all__:
        thing = inspect.unwrap(getattr(module, name))
        if inspect.isclass(thing):
            found[name] = thing
            found |= {f"{name}.{method}": value for method, value in methods(thing).items()}
        elif inspect.isfunction(thing):
            found[name] = thing
    return found


def methods(kind: type) -> dict[str, Any]:
    """Public methods of a class, as far as no class above explains them already."""
    family = [one for one in inspect.getmro(kind) if ours(one)]
    found: dict[str, Any] = {}
    for one in reversed(family):
        for name, value in vars(one).items():
            function = getattr(value, "__func__", value)
            if not name.startswith("_") and inspect.isfunction(function) and ours(function):
                found.setdefault(name, function)
    return found


def ours(thing: Any) -> bool:
    return thing.__module__.partition(".")[0] in ("api", "graph")


def constants(face: str) -> dict[str, str]:
    """The names of a face that are no function or class, each with the module that has it."""
    module = importlib.import_module(face)
    source = ast.parse(inspect.getsource(module))
    home = {
        alias.name: node.module or ""
        for node in ast.walk(source)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    plain = set(module.__all__) - members(face).keys()
    return {name: home.get(name, face) for name in plain}


def has_comment(module: str, name: str) -> bool:
    """Whether a comment stands above an assignment, or above others that it follows at once."""
    text = inspect.getsource(importlib.import_module(module))
    for node in ast.parse(text).body:
        targets = [node.target] if isinstance(node, ast.AnnAssign) else getattr(node, "targets", [])
        if any(isinstance(n, ast.Name) and n.id == name for t in targets for n in ast.walk(t)):
            above = "\n".join(text.split("\n")[: node.lineno - 1])
            return "#" in above.rpartition("\n\n")[2]
    return False


def family(thing: Any) -> list[Any]:
    """A function, or a class with those that it extends."""
    return (
        [one for one in inspect.getmro(thing) if ours(one)] if inspect.isclass(thing) else [thing]
    )


def sections(thing: Any) -> dict[str, str]:
    """The numpydoc sections of a docstring, by heading."""
    parts = HEADING.split(inspect.cleandoc(thing.__doc__ or ""))
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def entries(section: str) -> set[str]:
    """Names that a section explains."""
    heads = [head.partition(" : ")[0] for head in ENTRY.findall(section)]
    return {name.strip().lstrip("*") for head in heads for name in head.split(",")}


def explained(thing: Any, *headings: str) -> set[str]:
    said = [sections(one).get(heading, "") for one in family(thing) for heading in headings]
    return set().union(*map(entries, said))


def parameters(thing: Any) -> set[str]:
    plain_error = inspect.isclass(thing) and issubclass(thing, Exception)
    if plain_error and not any("__init__" in vars(one) for one in family(thing)):
        return set()
    return set(inspect.signature(thing).parameters) - {"self", "cls"}


def raised(thing: Any) -> set[str]:
    """Exceptions that the body itself makes; what it calls may raise more."""
    if inspect.isclass(thing):
        thing = vars(thing).get("__post_init__")
        if thing is None:
            return set()
    return {
        node.exc.func.id
        for node in ast.walk(ast.parse(textwrap.dedent(inspect.getsource(thing))))
        if isinstance(node, ast.Raise)
        and isinstance(node.exc, ast.Call)
        and isinstance(node.exc.func, ast.Name)
    }


def gives(thing: Any) -> set[str]:
    """The section that must say what a function gives, if it gives anything."""
    if inspect.isclass(thing):
        return set()
    annotation = inspect.signature(thing).return_annotation
    if annotation in (None, "None"):
        return set()
    return {"Yields" if "Iterator[" in str(annotation) else "Returns"}


@pytest.mark.parametrize("face", FACES)
def test_every_name_of_a_face_exists_and_is_listed(face):
    module = importlib.import_module(face)
    assert len(set(module.__all__)) == len(module.__all__)
    assert [name for name in module.__all__ if not hasattr(module, name)] == []
    assert set(module.__all__) <= set(dir(module))


@pytest.mark.parametrize("face", FACES)
def test_each_is_summed_up_in_one_sentence(face):
    found = {name: inspect.cleandoc(thing.__doc__ or "") for name, thing in members(face).items()}
    ends = re.compile(r"[^\n]+[.:]($|\n\n)")
    assert [name for name, text in found.items() if not ends.match(text)] == []


@pytest.mark.parametrize("face", FACES)
def test_a_comment_says_what_a_constant_is(face):
    found = constants(face).items()
    assert [name for name, module in found if not has_comment(module, name)] == []


@pytest.mark.parametrize("face", FACES)
def test_each_explains_its_parameters_by_name_and_no_others(face):
    wrong = {}
    for name, thing in members(face).items():
        fields = ("Parameters", "Attributes") if inspect.isclass(thing) else ("Parameters",)
        missing = parameters(thing) - explained(thing, *fields)
        strange = explained(thing, "Parameters") - parameters(thing)
        if missing or strange:
            wrong[name] = {"missing": missing, "strange": strange}
    assert wrong == {}


@pytest.mark.parametrize("face", FACES)
def test_each_says_what_it_gives(face):
    assert [
        name for name, thing in members(face).items() if not gives(thing) <= sections(thing).keys()
    ] == []


@pytest.mark.parametrize("face", FACES)
def test_each_says_what_it_raises_itself(face):
    wrong = {
        name: missing
        for name, thing in members(face).items()
        if (missing := raised(thing) - entries(sections(thing).get("Raises", "")))
    }
    assert wrong == {}
