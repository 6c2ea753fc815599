"""Without numpy, which is an extra, the question is refused with the way to install it."""

from __future__ import annotations

import subprocess
import sys

ASK = """
import sys
sys.modules["numpy"] = None
from cubital.app.suspicion import suspect
from cubital.errors import MissingLibrary
from cubital.model.results import Result, ResultSet
try:
    suspect([ResultSet(results=(Result(analyte="potassium", value=4.3),))])
except MissingLibrary as error:
    print(error)
"""


def test_where_numpy_is_missing_the_answer_says_how_to_install_it() -> None:
    found = subprocess.run([sys.executable, "-c", ASK], capture_output=True, text=True, check=True)
    assert 'in a checkout run: scripts/setup web; else: pip install "cubital[inference]"' in found.stdout
    assert "found no numpy" in found.stdout
