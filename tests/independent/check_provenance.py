"""Reads the PROV-JSON of every statement of a bag: check_provenance.py BAG

The package `prov` parses the document by its own rules; its graph must hold every node of the
statement's trace, with every input that the trace names.
"""

import glob
import json
import os
import sys
import urllib.parse

from prov.model import ProvDerivation, ProvDocument, ProvEntity


def main(folder):
    statements = glob.glob(os.path.join(folder, "data", "statements", "*.prov.json"))
    if not statements:
        print("no statement")
        return 1
    for path in statements:
        with open(path, encoding="utf-8") as file:
            document = ProvDocument.deserialize(content=file.read(), format="json")
        # Written out and read again, nothing is lost.
        again = ProvDocument.deserialize(content=document.serialize(format="json"), format="json")
        if again != document:
            print(f"{path}: it does not survive a round trip")
            return 1
        with open(path.replace(".prov.json", ".json"), encoding="utf-8") as file:
            nodes = json.load(file)["trace"]["nodes"]
        if problem := compare(document, nodes):
            print(f"{path}: {problem}")
            return 1
        print(f"{len(nodes)} nodes, all there with their inputs")
    return 0


def compare(document, nodes):
    values = {}
    for entity in document.get_records(ProvEntity):
        if entity.identifier.localpart.startswith("node/"):
            name = urllib.parse.unquote(entity.identifier.localpart[len("node/"):])
            values[name] = {str(key): value for key, value in entity.attributes}
    edges = set()
    for derivation in document.get_records(ProvDerivation):
        made, source = (list(derivation.args)[i].localpart for i in (0, 1))
        edges.add((urllib.parse.unquote(made), urllib.parse.unquote(source)))
    if set(values) != {node["id"] for node in nodes}:
        return "the nodes differ"
    for node in nodes:
        if str(values[node["id"]]["prov:value"]) != node["value"]:
            return f"{node['id']} has another value"
        for source in node["inputs"]:
            if ("node/" + node["id"], "node/" + source) not in edges:
                return f"{node['id']} does not derive from {source}"
    return None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
