"""The house keeps its shape: arrows of imports, who sees which library, no blind comparison, a light import."""

import ast
import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest

import filterlib

ROOT = Path(__file__).parents[1]
SOURCES = sorted((ROOT / "filterlib").rglob("*.py"))
ORDER = ("errors", "disk", "units", "network", "parts", "system", "analysis", "bench", "words", "show", "cli")
LONGEST_CHAIN, LONGEST_MODULE = 15, 400
USES_OF_ANY, COMPARISONS_OF_KIND = 73, 92
ONLY = {
    "matplotlib": ("show/panels",),
    "ipywidgets": ("show/panels",),
    "anywidget": ("show/panels",),
    "lcapy": ("network/symbolic",),
}


def imports(path):
    """Every module that a file imports, also inside functions."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def room(dotted):
    parts = dotted.split(".")
    return parts[1] if len(parts) > 1 and parts[1] in ORDER else None


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_arrow_points_up(path):
    place = path.relative_to(ROOT).with_suffix("")
    own = place.parts[1] if len(place.parts) > 1 else ""
    for name in imports(path):
        other = room(name) if name.startswith("filterlib.") else None
        if other and own in ORDER:
            assert ORDER.index(other) <= ORDER.index(own), f"{place} imports {name}"
        library = name.split(".")[0]
        if library in ONLY:
            inside = "/".join(place.parts[1:])
            assert any(inside.startswith(allowed) for allowed in ONLY[library]), f"{place} imports {name}"


def test_arrow_check_sees_an_import_inside_a_function():
    tree = "def f():\n    from filterlib.show import plots\n"
    assert "filterlib.show" in list(imports(_File(tree)))


def modules():
    """Every module by its dotted name, with the modules that it imports, also inside functions and for types alone."""
    named = {".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path for path in SOURCES}
    return {
        name: {other for other in imports(path) if other in named and other not in ("filterlib", name)}
        for name, path in named.items()
        if name != "filterlib"
    }


def longest_chain(graph):
    """The longest path of imports; a circle raises ValueError with its names."""
    known: dict[str, tuple[str, ...]] = {}

    def chain(name, above):
        if name in above:
            raise ValueError(f"circle: {' -> '.join((*above[above.index(name) :], name))}")
        if name not in known:
            known[name] = (
                name,
                *max((chain(other, (*above, name)) for other in sorted(graph[name])), key=len, default=()),
            )
        return known[name]

    return max((chain(name, ()) for name in sorted(graph)), key=len)


def test_no_circle_and_no_long_chain_of_imports():
    """pin: the longest chain; a longer one is a sign that a module knows too much."""
    chain = longest_chain(modules())
    assert len(chain) <= LONGEST_CHAIN, " -> ".join(chain)


def test_a_circle_is_seen():
    with pytest.raises(ValueError, match="b -> c -> b"):
        longest_chain({"a": {"b"}, "b": {"c"}, "c": {"b"}})
    assert longest_chain({"a": {"b"}, "b": set(), "c": {"a"}}) == ("c", "a", "b")


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_module_is_long(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE


def uses_of_any(text):
    """How often a module says `Any`, its import not counted."""
    return sum(isinstance(one, ast.Name) and one.id == "Any" for one in ast.walk(ast.parse(text)))


def comparisons_of_kind(text):
    """How often a module compares the ``kind`` of something, that of an array's numbers not counted."""
    left = [one.left for one in ast.walk(ast.parse(text)) if isinstance(one, ast.Compare)]
    kinds = [one for one in left if isinstance(one, ast.Attribute) and one.attr == "kind"]
    return sum(not (isinstance(one.value, ast.Attribute) and one.value.attr == "dtype") for one in kinds)


def test_types_say_what_things_are():
    """pins: places that say `Any`, of what no type says simply; and comparisons of ``kind``, which really branch."""
    texts = [path.read_text(encoding="utf-8") for path in SOURCES]
    assert sum(map(uses_of_any, texts)) <= USES_OF_ANY
    assert sum(map(comparisons_of_kind, texts)) <= COMPARISONS_OF_KIND


def test_an_any_and_a_comparison_are_counted():
    text = "from typing import Any\nx: list[Any] = [y for y in z if y.kind in a or y.dtype.kind == b]\n"
    assert uses_of_any(text) == comparisons_of_kind(text) == 1


def test_every_folder_of_modules_is_a_package_and_none_is_ignored():
    """What git ignores, as a folder of results, the wheel leaves out: an installed filterlib would lack it."""
    folders = {path.parent for path in SOURCES}
    assert {folder.relative_to(ROOT).as_posix() for folder in folders if not (folder / "__init__.py").exists()} == set()
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    anywhere = {line.strip("/") for line in ignored if not line.startswith("/")}
    assert not anywhere & {part for folder in folders for part in folder.relative_to(ROOT).parts}


def test_no_two_modules_of_one_name():
    names = [path.name for path in SOURCES if path.name != "__init__.py"]
    assert not {name for name in names if names.count(name) > 1}


def test_every_file_has_one_line_for_whoever_carries_on():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    listed = re.findall(r"^- `(\w+)\.py`: \w", text, flags=re.MULTILINE)
    table = text.split("## The engine")[1].split("## The source model")[0]
    listed += re.findall(r"`(\w+)\.py`", "".join(line for line in table.splitlines() if line.startswith("| `")))
    assert sorted(listed) == sorted(path.stem for path in SOURCES if path.name != "__init__.py")


def raising(node, above=""):
    """Public functions that raise by themselves, with what their docstrings and their class's say."""
    for one in ast.iter_child_nodes(node):
        if isinstance(one, ast.ClassDef) and not one.name.startswith("_"):
            yield from raising(one, ast.get_docstring(one) or "")
        if isinstance(one, ast.FunctionDef) and not one.name.startswith("_"):
            inner = {id(x) for part in one.body if isinstance(part, ast.FunctionDef) for x in ast.walk(part)}
            raised = [x for x in ast.walk(one) if isinstance(x, ast.Raise) and x.exc and id(x) not in inner]
            if raised and not any("validator" in ast.unparse(x) for x in one.decorator_list):
                yield one.name, f"{above} {ast.get_docstring(one)}"


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_raises_says_so(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not [name for name, text in raising(tree) if not re.search("[Rr]aise|[Rr]efuse", text)]


class _File:
    def __init__(self, text):
        self.text = text

    def read_text(self, encoding):
        return self.text


def blind_comparisons(text):
    """Calls of comparing functions that leave the absolute tolerance to its default."""
    calls = re.finditer(r"(?:np\.(?:isclose|allclose)|assert_allclose|math\.isclose|approx)\(", text)
    for call in calls:
        depth, end = 1, call.end()
        while depth and end < len(text):
            depth += {"(": 1, ")": -1}.get(text[end], 0)
            end += 1
        if not re.search(r"\b(?:atol|abs_tol|abs)=", text[call.start() : end]):
            yield text[: call.start()].count("\n") + 1


@pytest.mark.parametrize("path", sorted((ROOT / "tests").rglob("*.py")), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_comparison_is_blind(path):
    if path.name != "test_house.py":
        assert not list(blind_comparisons(path.read_text(encoding="utf-8")))


def test_blind_comparison_is_seen():
    assert list(blind_comparisons("x == pytest.approx(1e-9, rel=1e-3)\n")) == [1]
    assert not list(blind_comparisons("x == pytest.approx(f(1), rel=1e-3, abs=0)\n"))


def test_import_is_light():
    """What is large loads when it is first used, and so after the command line has set its threads."""
    large = {"numpy", "scipy", "pydantic", "matplotlib", "pandas", "lcapy", "jinja2", "skrf"}
    code = f"import sys, filterlib.cli; print(sorted({large} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_review_without_recordings_needs_no_scipy(tmp_path):
    """scipy's parts take a tenth of a second each to import; whatever reads recordings waits for a recording."""
    code = (
        "import sys; from filterlib.cli import main; main(['review', 'data/designs/tide-gauge-clean.toml', '--out', sys.argv[1]]);"
        "late = ('scipy', 'lmfit', 'matplotlib', 'filterlib.bench.capture.recording');"
        "print([name for name in late if name in sys.modules], file=sys.stderr)"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "review")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert (tmp_path / "review" / "review.html").exists()
    assert done.stderr.splitlines()[-1] == "[]"


def test_lint_and_types():
    for command in (["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]):
        done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]


def test_every_public_function_shows_an_example():
    functions = [getattr(filterlib, name) for name in filterlib.__all__]
    silent = [one.__name__ for one in functions if inspect.isfunction(one) and ">>> " not in (one.__doc__ or "")]
    assert not silent
