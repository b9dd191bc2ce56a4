"""Writes what tests/reference/forms holds: XForms made by pyxform, and a filled-in one of each.

Reads templates.json (the templates as the service lists them), writes the questions of three
kinds down as an XLSForm by rules of its own, has pyxform convert it, and fills the instance of
the result with the example of each column. Nothing of the service's own form writer is used.

    pip install pyxform
    python3 tests/reference/forms.py

With --validate FOLDER it runs every form in FOLDER through the validator that pyxform brings
(needs Java) and prints what it says.
"""

import json
import pathlib
import sys
import xml.etree.ElementTree as ET

import pyxform
from pyxform.xls2xform import convert

HERE = pathlib.Path(__file__).parent / "forms"
KINDS = ["usage_survey", "kitchen_test", "deployments"]
ENDS = ["_mj_per_kg", "_wet_kg", "_dry_kg", "_kg", "_mg", "_wb", "_g", "_c"]
NAMES = {"ncv": "NCV", "co": "CO", "pm25": "PM2.5", "lpg": "LPG"}
XFORMS = "{http://www.w3.org/2002/xforms}"


def words(code):
    text = " ".join(NAMES.get(word, word) for word in code.split("_"))
    return text[:1].upper() + text[1:]


def label(column):
    name, unit = column["name"], column["unit"]
    if unit is None:
        return words(name)
    for end in ENDS:
        if name.endswith(end):
            name = name[: -len(end)]
            break
    return f"{words(name)} ({unit})"


def question(column):
    """One row of the survey sheet, and its rows of the choices sheet."""
    kind = column["value"]["type"]
    bounds = column["value"].get("allowed")
    unit = f" {column['unit']}" if column["unit"] else ""
    row = {"name": column["name"], "label": label(column), "hint": column["description"]}
    choices = []
    if column["required"]:
        row["required"] = "yes"
        row["required_message"] = "This question must be answered"
    if kind in ("one_of", "yes_no"):
        row["type"] = f"select_one {column['name']}"
        for word in bounds or ["yes", "no"]:
            choices.append({"list_name": column["name"], "name": word, "label": words(word)})
    elif kind == "code":
        longest = bounds["max_len"]
        row["type"] = "text"
        row["constraint"] = f"regex(., '^[A-Za-z0-9_./][A-Za-z0-9_./-]{{0,{longest - 1}}}$')"
        row["constraint_message"] = (
            "Letters A to Z, digits and - _ . / only, not beginning with -, "
            f"at most {longest} characters"
        )
    elif kind == "date":
        row["type"] = "date"
        row["constraint"] = ". >= date('2000-01-01') and . <= date('2100-12-31')"
        row["constraint_message"] = "A day from 2000-01-01 to 2100-12-31"
    elif kind in ("decimal", "integer"):
        row["type"] = kind
        low, high = bounds["min"], bounds["max"]
        row["constraint"] = f". >= {low} and . <= {high}"
        whole = f"A whole number from {low} to {high}{unit}"
        row["constraint_message"] = (
            whole
            if kind == "integer"
            else f"From {low} to {high}{unit}, with at most {bounds['scale_max']} decimals"
        )
    else:
        raise SystemExit(f"no rule for {kind}")
    return row, choices


def survey(template, form_id, title):
    rows, choices = [], []
    for column in template["columns"]:
        row, more = question(column)
        rows.append(row)
        choices += more
    settings = {"form_id": form_id, "form_title": title, "version": "reference"}
    return {"survey": rows, "choices": choices, "settings": [settings]}


def filled_in(xform, template, number):
    """The form's own instance, with the example of each column."""
    root = ET.fromstring(xform)
    data = next(iter(root.iter(f"{XFORMS}instance")))[0]
    for column in template["columns"]:
        data.find(f"{XFORMS}{column['name']}").text = column["example"]
    found = data.find(f"{XFORMS}meta/{XFORMS}instanceID")
    found.text = f"uuid:00000000-0000-4000-8000-{number:012d}"
    ET.register_namespace("", XFORMS[1:-1])
    return ET.tostring(data, encoding="unicode") + "\n"


def write():
    templates = json.loads((HERE / "templates.json").read_text())
    by_kind = {template["kind"]: template for template in templates}
    for number, kind in enumerate(KINDS, 1):
        template = by_kind[kind]
        register = kind == "deployments"
        form_id = kind if register else f"{kind}--2025"
        title = template["title"] + ("" if register else ", round 2025")
        made = convert(xlsform=survey(template, form_id, title), pretty_print=True, validate=False)
        if made.warnings:
            raise SystemExit(f"{kind}: {made.warnings}")
        head = f"<!-- Made by pyxform {pyxform.__version__}; see tests/reference/forms.py. -->"
        declaration, rest = made.xform.split("\n", 1)
        (HERE / f"{kind}.xml").write_text(f"{declaration}\n{head}\n{rest}")
        (HERE / f"{kind}.filled.xml").write_text(filled_in(made.xform, template, number))
        print(kind, "pyxform", pyxform.__version__)


def validate(folder):
    from pyxform.validators.odk_validate import check_xform

    for path in sorted(pathlib.Path(folder).glob("*.xml")):
        if path.name.endswith(".filled.xml"):
            continue
        print(path.name, check_xform(str(path)) or "valid")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--validate"]:
        validate(sys.argv[2])
    else:
        write()
