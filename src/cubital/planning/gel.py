"""Which tests no kind with a gel serves, and the lint of a site that lists one all the same."""

from __future__ import annotations

from collections.abc import Iterator

from cubital import facts
from cubital.model import Finding, Site, Test
from cubital.planning.sizes import warning


def why_no_gel(test: Test) -> str | None:
    """Why no kind with a gel serves this test; None where one may.

    >>> from cubital.model import Accept
    >>> way = Accept(matrix="plasma", tubes=("heparin",), volume_ul=10, minimum_ul=5)
    >>> why_no_gel(Test(key="ammonia", name="ammonia", bench="b", accepts=(way,), handling=("ice",)))
    'it is chilled, and whether a gel seals in the cold is not known'
    """
    terms = facts.handling_terms()
    if any(terms[term].no_gel for term in test.handling if term in terms):
        return "it is chilled, and whether a gel seals in the cold is not known"
    limit = facts.gels().get(test.key)
    return limit.text if limit is not None and limit.standing == "never" else None


def find_gels(site: Site) -> Iterator[Finding]:
    """A warning for each kind with a gel that a test lists and that should not serve it."""
    for test in site.tests.values():
        why = why_no_gel(test) if test.accepts else None
        for i, accept in enumerate(test.accepts if why is not None else ()):
            for j, key in enumerate(accept.tubes):
                if key in site.kinds and site.kinds[key].gel:
                    yield warning(
                        "tests.toml",
                        f"[{test.key}] accepts[{i}].tubes[{j}]",
                        found=f'"{key}", which has a gel: {why}',
                        expected="a kind without gel",
                        remedy="take it out, unless the tube's own instructions allow it",
                    )
