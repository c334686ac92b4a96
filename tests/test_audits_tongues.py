"""An audit told in another language: nothing of its page or of what to mend is left in English, or read otherwise."""

import re
from pathlib import Path
from typing import Any

import pytest
from audit_world import audit, files, found, rigs, summary
from pseudo import left_in_english, pseudo_tongue, told_on
from python_calamine import CalamineWorkbook
from told_texts import told_texts

from fitsvc.cli import main
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import labels_of, texts_of
from fitsvc.service.speaking import spoken_tongues, with_point
from fitsvc.tongues import ENGLISH, Tongue

_HEAD = "sku,subject,kind,shank,pin,weight [lb],capacity [lb],wieght,shelf,fits\n"
_CODE = re.compile("`[^`]*`")
_MUCKLE = "2021-2023 Brannoch Muckle short bed"


def _rows() -> str:
    """A catalogue in which something of every sort is wrong."""
    mounts = "".join(f"M-{n},,ball_mount,2 in,5/8 in,{9 + n % 5}.5,,,,rig_farm_muckle\n" for n in range(60))
    return (
        _HEAD
        + mounts
        + (
            "M-60,,ball_mount,2 in,5/8 in,95,,,,\n"
            "M-1,,ball_mount,2 in,5/8 in,9.5,,,,\n"
            "F-1,,ball_mount,2-1/2 in,5/8 in,9.5,,,,rig_farm_muckle\n"
            f"F-2,,ball_mount,2-1/2 in,5/8 in,9.5,,,,{_MUCKLE}\n"
            "B-1,,ball_mount,9 in,8-May,heavy,,,,2023 Muckle diesel\n"
            'B-2,,ball_mount,2 in,N/A,"5,4",,,,rig_nowhere\n'
            'B-3,,bike_carrier,1-1/4 in,1/2 in,"1,250",,,,2099 Brannoch Muckle\n'
            "B-4,,,,,,,,,Muckle May 2021\n"
            "O-1,trailer,,,,,,,,rig_farm_muckle\nO-2,ball,,,,,,,,M-1 M-77\nO-3,adapter,,,,,,,,\nO-4,spoon,,,,,,,,\n"
            "#REF!,,,,,,,,,\nR-1,,step\nTotal,,,,,700,,,,\nGrand total,,,,,,,,,\n"
        )
    )


@pytest.fixture(scope="module")
def strange(rulebook: Rulebook) -> Tongue:
    """A language that has other letters for every known text, and for nothing else."""
    labels = labels_of(rulebook)
    return pseudo_tongue({*told_texts(), *texts_of(rulebook)} - labels, labels)


def _names(of: Path) -> list[str]:
    """What is nobody's to translate: the supplier's own words, what rigs are called, names of files and columns."""
    told = {
        "Fellside",
        "fitsvc",
        "spring.csv",
        "sku",
        *_HEAD.strip().split(","),
        *(path.name for path in of.iterdir()),
    }
    told |= {word for row in _rows().splitlines() for word in row.replace('"', "").split(",")}
    told |= {one.name for one in rigs()} | {one.key for one in rigs()} | {one.label for one in rigs()}
    told |= {summary(of)["rulebook"]["name"], summary(of)["rulebook"]["digest"]}
    return sorted(told - {""}, key=len, reverse=True)


def test_no_text_of_a_page_or_of_what_to_mend_is_left_in_english(strange: Tongue, tmp_path: Path) -> None:
    """Every text in a language with other letters: a word of plain letters was forgotten."""
    (tmp_path / "spring.csv").write_text(_rows().replace("M-7,", "M-77,", 1), encoding="utf-8")
    audit(tmp_path / "spring.csv", tmp_path / "before", supplier="Fellside", tongue=strange)
    (tmp_path / "spring.csv").write_text(_rows(), encoding="utf-8")
    asked: dict[str, Any] = {"supplier": "Fellside", "day": "2026-11-28", "counter": "https://counter.example/"}
    out = tmp_path / "out"
    audit(tmp_path / "spring.csv", out, against=tmp_path / "before", tongue=strange, **asked)
    faults = summary(out)["faults"]
    assert all(faults[name] for name in ("bad_rows", "bad_cells", "bad_claims", "contradicted_claims"))
    told = told_on((out / "summary.html").read_text("utf-8"))
    told += [_CODE.sub("", row[name]) for row in found(out, "fix_list") for name in ("wrong", "allowed")]
    book = CalamineWorkbook.from_path(out / "fix_list.xlsx")
    told += [*book.sheet_names, *map(str, book.get_sheet_by_index(0).to_python()[0])]
    left = list(dict.fromkeys(left_in_english(told, _names(out))))
    assert not left, "\n".join(left)


def test_what_is_read_is_the_same_whatever_is_spoken(tmp_path: Path) -> None:
    """`1,250` is a thousand and more in Spanish too: outcomes, facts and claims are those of the audit in English."""
    (tmp_path / "spring.csv").write_text(_rows(), encoding="utf-8")
    spanish = with_point("es", spoken_tongues(None))
    assert spanish is not None
    for out, tongue in (("en", ENGLISH), ("es", spanish)):
        audit(tmp_path / "spring.csv", tmp_path / out, tongue=tongue)
    english, other = files(tmp_path / "en"), files(tmp_path / "es")
    assert english.keys() == other.keys()
    same = {name for name in english if name.startswith(("pairs", "facts", "items", "rigs", "missing", "unclaimed"))}
    assert len(same) > 6
    assert [name for name in sorted(same) if english[name] != other[name]] == []
    assert b'<html lang="es-419">' in other["summary.html"] and b"Por corregir" not in english["summary.html"]
    assert "Auditoría del catálogo" in other["summary.html"].decode()


def test_the_command_speaks_what_there_are_words_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Spanish is taken, and another audit than the English one; what there are no words for is refused."""
    (tmp_path / "a.csv").write_text("sku,kind,shank,fits\nA,ball_mount,2-1/2 in,rig_a\n", encoding="utf-8")
    rig = "{id: rig_a, name: Ours, rig: {receiver: {facts: {opening: 2 in, pin_hole: 5/8 in}}}}"
    (tmp_path / "rigs.yaml").write_text(f"rigs:\n  - {rig}\n", encoding="utf-8")
    command = ["audit", str(tmp_path / "a.csv"), "--rigs", str(tmp_path / "rigs.yaml"), "-o", str(tmp_path / "out")]
    assert main([*command, "--language", "es"]) == 0
    assert "vástago" in (tmp_path / "out" / "claims.csv").read_text("utf-8")
    assert main(command) == 2
    assert "its language differs" in capsys.readouterr().err
    assert main([*command, "--language", "xx"]) == 2
    assert "no words for the language `xx`" in capsys.readouterr().err
