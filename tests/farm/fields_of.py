"""Read the forms of a page as a browser sees them: where each is sent, and its fields."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any


@dataclass
class PageForm:
    """``values``: what a browser would send untouched; ``offered``: what else a list holds."""

    action: str
    method: str
    values: dict[str, list[str]] = field(default_factory=dict)
    offered: dict[str, list[str]] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        return sorted({*self.values, *self.offered})


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[PageForm] = []
        self.select = self.area = ""
        self.form: PageForm | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said: dict[str, Any] = dict(attrs)
        name = said.get("name") or ""
        if tag == "form":
            self.form = PageForm(said.get("action") or "", (said.get("method") or "get").lower())
            self.forms.append(self.form)
        elif self.form is not None and tag == "option":
            self._option(self.form, said)
        elif self.form is not None and name and name != "csrfmiddlewaretoken":
            self._named(self.form, tag, name, said=said)

    def handle_data(self, data: str) -> None:
        if self.area and self.form:
            self.form.values[self.area] = [self.form.values[self.area][0] + data]

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.form = None
        elif tag == "select":
            self.select = ""
        elif tag == "textarea":
            self.area = ""

    def _named(self, form: PageForm, tag: str, name: str, *, said: dict[str, Any]) -> None:
        if tag == "input":
            _add_input(form, name, said)
        elif tag == "select":
            self.select = name
            form.offered.setdefault(name, [])
        elif tag == "textarea":
            self.area = name
            form.values[name] = [""]
        elif tag == "button":
            form.offered.setdefault(name, []).append(said.get("value") or "")

    def _option(self, form: PageForm, said: dict[str, Any]) -> None:
        if not self.select:
            return
        value = said.get("value") or ""
        form.offered[self.select].append(value)
        if "selected" in said:
            form.values[self.select] = [value]


def _add_input(form: PageForm, name: str, said: dict[str, Any]) -> None:
    value = said.get("value") or ""
    if said.get("type") == "file":
        form.files.append(name)
    elif said.get("type") in ("checkbox", "radio"):
        form.offered.setdefault(name, []).append(value or "on")
        if "checked" in said:
            form.values.setdefault(name, []).append(value or "on")
    else:
        form.values[name] = [value]


def forms_of(page: str) -> list[PageForm]:
    """The forms of a page that have something to fill in or to press."""
    reader = _Reader()
    reader.feed(page)
    return [form for form in reader.forms if form.names or form.files]
