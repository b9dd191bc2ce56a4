"""Checks every table of a bag against its schema: check_tables.py BAG

The package `frictionless` knows Data Package and Table Schema: types, bounds, lists of words,
primary keys, foreign keys.
"""

import os
import sys

from frictionless import Package


def main(folder):
    data = os.path.join(folder, "data")
    package = Package(os.path.join(data, "datapackage.json"))
    described = {resource.path for resource in package.resources}
    held = {
        os.path.relpath(os.path.join(place, name), data)
        for place, _, names in os.walk(data)
        for name in names
        if name.endswith(".csv")
    }
    if described != held:
        print(f"described and held tables differ: {sorted(described ^ held)}")
        return 1
    without = [r.name for r in package.resources if not r.schema.primary_key]
    if without:
        print(f"no primary key: {without}")
        return 1
    report = package.validate()
    for error in report.flatten(["path", "rowNumber", "fieldName", "type", "note"])[:20]:
        print(*error)
    if not report.valid:
        return 1
    print(f"{len(described)} tables, valid")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
