from anthroqa.reporting.page.figures import axes
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, image, paragraph, table


def test_everything_typed_is_escaped():
    typed = "<b>&\"'"
    for text in (
        paragraph(typed), paragraph("x", lead=typed), heading(typed, 3), bullets([typed]),
        table([typed], [[typed, typed]], caption=typed), image(axes(["a"]), alt=typed),
    ):  # fmt: skip
        assert "<b>" not in text
        assert "&lt;b&gt;&amp;&quot;" in text


def test_a_table_names_its_columns_and_rows():
    text = table(["Who", "n"], [["K1", 3]], caption="Readings")
    assert '<th scope="col">Who</th>' in text
    assert '<th scope="row">K1</th><td>3</td>' in text
    assert "<caption>Readings</caption>" in text


def test_no_items_make_no_list():
    assert bullets([]) == ""


def test_a_cut_list_says_how_many_it_leaves_out():
    assert cut(range(SOME), "readings") == []
    assert cut(range(SOME + 2), "readings") == ["<p>And 2 more readings.</p>"]


def test_an_image_has_the_same_bytes_every_time_and_a_size():
    first, second = (image(axes(["K1", "K2"]), alt="two rows") for _ in range(2))
    assert first == second
    assert 'width="461"' in first


def test_a_notebook_shows_html_as_it_is():
    assert Html("<p>a</p>", "<p>b</p>")._repr_html_() == "<p>a</p>\n<p>b</p>"
