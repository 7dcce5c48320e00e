"""Nothing that a person wrote becomes markup."""

from tests.report.beds import NASTY

from waaler.report.markup import Markup, join, tag


def test_text_is_escaped_in_children_and_in_attributes() -> None:
    told = tag("p", NASTY, title=NASTY)

    escaped = "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;Söhne&quot;"
    assert told == f'<p title="{escaped}">{escaped}</p>'


def test_markup_is_not_escaped_twice_and_lists_are_flattened() -> None:
    assert tag("ul", [tag("li", "a & b"), [tag("li", 3)]], None) == "<ul><li>a &amp; b</li><li>3</li></ul>"
    assert join("<", Markup("<br>")) == "&lt;<br>"


def test_attributes_without_a_value_are_left_out_and_true_ones_are_bare() -> None:
    assert tag("input", class_="a", font_size=1.25, checked=True, id=None, hidden=False) == (
        '<input class="a" font-size="1.2" checked>'
    )
    assert tag("text", x=3.0, y=0.04) == '<text x="3" y="0"></text>'
