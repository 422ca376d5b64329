"""The Measure page's form as a browser would fill and send it."""

import re

from django.urls import reverse


def url(child):
    return reverse("measure", args=[child.case_number])


def form_of(client, child, query=""):
    """The fields of the page as they stand when it is opened, without ticks and choices."""
    text = client.get(url(child) + query).content.decode()
    fields = {}
    for tag in re.findall(r"<(?:input|textarea)[^>]*>", text):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and not re.search(r'type="(radio|checkbox)"', tag):
            fields[name[1]] = value[1].replace("&quot;", '"') if value else ""
    for select in re.findall(r"<select.*?</select>", text, re.S):
        name = re.search(r'name="([^"]*)"', select)[1]
        fields[name] = re.search(r'value="([^"]*)" selected', select)[1]
    return fields


def fit_of(limb, **findings):
    seen = {"donning": "full", "hold": "good", "marks": "none", "pain": "0", **findings}
    return {f"fit-{limb.pk}-{name}": value for name, value in seen.items()}


def send(client, child, form, **more):
    return client.post(url(child), {**form, **more})


def key(limb, measure, station_mm=None):
    return f"l{limb.pk}-{measure}" + ("" if station_mm is None else f"-{station_mm}")


def troubles(response):
    return [trouble.words for trouble in response.context["sheet"].troubles]
