"""A page that shows every part of the site's look once, for whoever changes the stylesheet."""

from dataclasses import dataclass

from django import forms
from django.http import HttpResponse

from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show


class SampleForm(forms.Form):
    """One field of each kind; bound to a mistake so that an error shows."""

    # A text box with a number pad: a number box would lose what was mistyped.
    weight = forms.DecimalField(
        label="Weight picked",
        help_text="In kg, as the scale shows it",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    quality = forms.ChoiceField(choices=[("firsts", "Firsts"), ("seconds", "Seconds")])
    cut = forms.ChoiceField(
        label="How it was cut",
        choices=[("knife", "Knife"), ("twist", "Twisted off")],
        widget=forms.RadioSelect,
    )
    wet = forms.BooleanField(label="Picked wet", required=False)
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), required=False)


@dataclass(frozen=True)
class StylePage:
    form: SampleForm


@page(Right.READ)
def style(request: PageRequest) -> HttpResponse:
    form = SampleForm({"weight": "12,4 kg", "quality": "firsts", "cut": "knife"})
    return show(request, "farm/style/style.html", StylePage(form))
