"""Files of ten megabytes that are made to hurt end within seconds and below a gigabyte."""

from __future__ import annotations

import pytest

from reference_checks.fuzzing import big


@pytest.mark.slow
def test_ten_megabytes_never_take_a_gigabyte(capsys: pytest.CaptureFixture[str]) -> None:
    names = ["every row bad", "columns", "deep.json", "good.xlsx", "apart", "shared", "bomb"]
    status = big.main([*names, "many sheets", "entities"])
    assert status == 0, capsys.readouterr().out


def test_what_is_too_much_is_told() -> None:
    ended = big.subprocess.CompletedProcess([], 1, "", "")
    assert big._wrong(big.MEMORY, big.SECONDS, ended) == ""
    assert "memory" in big._wrong(big.MEMORY + 1, 1.0, ended)
    assert "slow" in big._wrong(1.0, big.SECONDS + 0.1, ended)
    ended.stderr = "Traceback"
    assert "BROKEN" in big._wrong(1.0, 1.0, ended)
