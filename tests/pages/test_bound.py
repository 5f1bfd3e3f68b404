"""A number and its unit stay on one line, and nothing else of a page is touched."""

import pytest

from bellmouth.pages.bound import bound


@pytest.mark.parametrize(
    ("html", "told"),
    [
        ("<h1>Probably (81 %): a hole of 2.1 mm (1.8 to 2.5).</h1>",
         "<h1>Probably (81\u00a0%): a hole of 2.1\u00a0mm (1.8 to 2.5).</h1>"),
        ("<p>12 % below; 3.4 g/s, 0.1 in², 1.500 1/min</p>",
         "<p>12\u00a0% below; 3.4\u00a0g/s, 0.1\u00a0in², 1.500\u00a01/min</p>"),
        ("<td>60 ± 1 mm</td>", "<td>60 ± 1\u00a0mm</td>"),
        ("at its own 84000 km and", "at its own 84000\u00a0km and"),
    ],
)  # fmt: skip
def test_a_unit_stays_with_its_number(html: str, told: str) -> None:
    assert bound(html) == told


@pytest.mark.parametrize(
    "html",
    [
        "<p>7 made, 3 steps, 5 minutes, 2 mmx</p>",
        '<input value="2 mm" placeholder="5 %">',
        "<style>a { margin: 0 % }</style>",
        "<script>const a = 1 % 2;</script>",
        "<bdi>The 2 L van</bdi> <code>run 5 %</code> <textarea>3 s</textarea>",
        "<svg><text>5 %</text></svg>",
        "",
    ],
)
def test_everything_else_is_as_it_was(html: str) -> None:
    assert bound(html) == html


def test_what_comes_after_an_element_of_ones_own_is_bound_too() -> None:
    assert bound("<p><bdi>2 L</bdi> 4 % <code>5 s</code> 6 s</p>") == (
        "<p><bdi>2 L</bdi> 4\u00a0% <code>5 s</code> 6\u00a0s</p>"
    )
