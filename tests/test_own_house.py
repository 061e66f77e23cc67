"""A newcomer's way in JupyterLab: an own house typed into the first page is the house of all pages, and comes back."""

import re

import pytest
from playwright.sync_api import expect
from test_browser import chromium, lab, no_error, run_all  # noqa: F401

import kit

pytestmark = pytest.mark.browser

INTO_SIGHT = """async source => {
    const at = window.kitCells.widgets.findIndex(cell => cell.model.sharedModel.source.includes(source));
    await window.kitCells.scrollToItem(at);
}"""
TYPED = {
    "main wall": {"left": "0", "bottom": "0", "width": "52 ft", "height": "19'", "surface": "our brick"},
    "window": {"left": "4", "bottom": "3", "width": "5'6\"", "height": "4", "surface": "window with white shade"},
}


def shown(page, source):
    """Bring the panel of the cell with this in it into sight."""
    page.evaluate(INTO_SIGHT, source)
    panel = page.locator(".kit-panel").first
    panel.wait_for(timeout=60_000)
    return panel


def labelled(panel, part, label):
    return panel.get_by_label(re.compile(rf"^{part}:\s*{label}")).first


def test_a_house_typed_into_the_first_page_is_that_of_all_pages_and_comes_back_as_it_was(chromium, lab):  # noqa: F811
    _, folder = lab
    page = run_all(chromium, lab, "00_start_here.ipynb")
    panel = shown(page, "MakePanel")
    panel.get_by_label("our own surfaces").fill("our brick 0.16")
    page.keyboard.press("Tab")
    for part, fields in TYPED.items():
        for label, value in fields.items():
            control = labelled(panel, part, label)
            if label == "surface":
                page.wait_for_function(
                    "([box, name]) => [...box.options].some(one => one.text.replaceAll('\\u00a0', ' ').endsWith(name))",
                    arg=[control.element_handle(), value],
                )
                names = [name.replace("\xa0", " ") for name in control.locator("option").all_inner_texts()]
                control.select_option(index=next(i for i, name in enumerate(names) if name.endswith(value)))
            else:
                control.fill(value)
                page.keyboard.press("Tab")
    panel.locator("img").wait_for(timeout=60_000)
    panel.get_by_role("button", name="Write my_show.toml").click()
    panel.get_by_text("Written").wait_for(timeout=60_000)
    no_error(page)
    page.close()

    show = kit.open_show(folder / "my_show.toml")
    assert (show.wall.name, show.wall.reflectance) == ("our brick", 0.16)
    page = run_all(chromium, lab, "01_which_brightness_class.ipynb", ".kit-verdict")
    panel = shown(page, "ClassPanel")
    first = panel.locator(".kit-first p").first.inner_text()
    assert first == show.sentence("ft")
    assert first.startswith("Our house, 52.0 ft wide and 19.0 ft high; main wall our brick (reflectance 0.16)")
    panel.get_by_label("housing window").select_option("none")
    expect(panel.locator(".kit-busy")).to_have_count(0)
    panel.get_by_role("button", name="Save", exact=True).click()
    panel.get_by_text("Saved in my_show.classes.toml").wait_for(timeout=60_000)
    no_error(page)
    page.close()

    page = run_all(chromium, lab, "01_which_brightness_class.ipynb", ".kit-verdict")
    panel = shown(page, "ClassPanel")
    assert panel.get_by_text("Back to the settings in my_show.classes.toml").is_visible()
    assert panel.get_by_label("housing window").input_value() == "none"
    page.close()
