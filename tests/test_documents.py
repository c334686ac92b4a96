"""What is written from the code is as the code has it."""

import pytest
from documents import DOCUMENTS, ROOT


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_is_as_the_code_has_it(name: str) -> None:
    """Written anew, it is as it was; else `PYTHONPATH=tests python -m documents` writes it."""
    text = (ROOT / name).read_text("utf-8")
    assert DOCUMENTS[name](text) == text, f"{name} lags behind: run `PYTHONPATH=tests python -m documents`"
