"""Writes the contract's schema and glossary: `python -m onboard.contract`."""

from pathlib import Path

from onboard.contract import log_remarks, remarks
from onboard.contract.schema import glossary_text, schema_text

HERE = Path(__file__).parent


def main() -> None:
    """Write both files."""
    assert log_remarks  # imported so that their statements are in the glossary too
    assert remarks
    (HERE / "schema.json").write_text(schema_text(), encoding="utf-8")
    (HERE / "README.md").write_text(glossary_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
