"""By day the random tests make the same cases, alone, in any order and beside others."""

import os
import subprocess
import sys
from pathlib import Path

TESTS = Path(__file__).parent
DRAWN = """
import sys
from effort import load_profile
load_profile()
from hypothesis import given, settings, strategies as st
if "later" in sys.argv:
    import fitsvc.synthetic.planted, fitsvc.audits.run, fitsvc.cli.serve
drawn = []
@settings(max_examples=300)
@given(number=st.integers(), text=st.text(), figure=st.floats())
def draw(number, text, figure):
    drawn.append(repr((number, text, figure)))
draw()
print("".join(drawn))
"""


def test_what_is_drawn_does_not_rest_on_what_was_imported_before() -> None:
    """Hypothesis takes constants from imported modules into its draws; here it finds the same ones in every process."""
    command, env = [sys.executable, "-c", DRAWN], os.environ | {"PYTHONPATH": f"{TESTS.parent}:{TESTS}"}
    found = {
        subprocess.run([*command, *more], cwd=TESTS.parent, env=env, capture_output=True, check=True).stdout
        for more in ([], ["later"])
    }
    assert len(found) == 1
    assert len(found.pop()) > 10_000
