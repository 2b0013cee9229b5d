"""Tables for a terminal: columns side by side, no markup."""

from __future__ import annotations

from collections.abc import Iterable

from filterlib.show.table import Table


def tables_text(tables: Iterable[Table]) -> str:
    """Tables one below the other, an empty line between them."""
    return "\n\n".join(table_text(table) for table in tables)


def table_text(table: Table) -> str:
    """Caption, heads where there are any, and rows whose columns stand below each other.

    >>> print(table_text(Table("Levels", ("", ""), (("mean", "12 mV"), ("rms", "3 mV")))))
    Levels
      mean  12 mV
      rms   3 mV
    """
    rows = [*([table.head] if any(table.head) else []), *table.rows]
    widths = [max(len(row[column]) for row in rows) for column in range(len(table.head))] if rows else []
    lines = ("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows)
    return "\n".join([table.caption, *(f"  {line}" for line in lines)])
