"""How every form of the site is laid out: label above, hint, error, then the input."""

from django.forms.renderers import TemplatesSetting


class SiteFormRenderer(TemplatesSetting):
    """Render `{{ form }}` and `{{ field.as_field_group }}` with the site's own parts."""

    form_template_name = "farm/parts/_form.html"
    field_template_name = "farm/parts/_field.html"
