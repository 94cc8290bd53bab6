"""The table of requirements names tests that exist, and leaves none of the chosen requirements without one."""

import ast
import tomllib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
TABLE = tomllib.loads((ROOT / "tests/trust_ops/asvs.toml").read_text(encoding="utf-8"))
CHOSEN = [
    "1.2.1",
    "1.2.4",
    "1.2.10",
    "1.3.6",
    "1.3.11",
    "1.5.1",
    "2.2.1",
    "2.2.3",
    "2.3.3",
    "2.3.4",
    "2.4.1",
    "3.2.1",
    "3.3.1",
    "3.3.4",
    "3.4.1",
    "3.4.3",
    "3.4.4",
    "3.4.6",
    "3.5.1",
    "3.5.3",
    "3.6.1",
    "3.7.2",
    "4.1.1",
    "4.1.3",
    "4.1.4",
    "5.2.1",
    "5.2.2",
    "5.2.3",
    "5.2.4",
    "5.2.6",
    "5.3.2",
    "5.4.1",
    "5.4.2",
    "6.2.1",
    "6.2.4",
    "6.2.9",
    "6.3.1",
    "6.3.8",
    "6.4.3",
    "7.2.4",
    "7.4.1",
    "7.4.3",
    "7.5.1",
    "7.5.2",
    "8.1.1",
    "8.2.1",
    "8.2.2",
    "8.2.3",
    "8.3.1",
    "8.3.2",
    "8.4.1",
    "11.4.2",
    "11.5.1",
    "12.3.1",
    "13.1.3",
    "13.2.4",
    "13.4.2",
    "13.4.5",
    "14.2.1",
    "14.2.8",
    "14.3.2",
    "15.1.2",
    "15.2.2",
    "15.3.1",
    "15.3.2",
    "15.3.3",
    "15.4.2",
    "16.2.1",
    "16.2.5",
    "16.3.1",
    "16.3.2",
    "16.4.1",
    "16.5.1",
    "16.5.2",
    "16.5.3",
    "16.5.4",
]
"""What is aimed at, of the 345 requirements of version 5.0.0."""


@cache
def names_in(path: str) -> frozenset[str]:
    """Names of the tests in a file, methods of classes too."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def test_every_requirement_has_a_row_and_every_row_a_test_that_exists() -> None:
    assert set(TABLE) == {f"V{number}" for number in CHOSEN}
    missing = []
    for number, row in TABLE.items():
        assert row["level"] in {1, 2, 3}
        assert row["what"]
        assert row["tests"], number
        for name in row["tests"]:
            path, _, test = name.partition("::")
            if not (ROOT / path).exists() or test not in names_in(path) or not test.startswith("test_"):
                missing.append((number, name))
    assert not missing
