"""Checks a bag with the Library of Congress' own library: check_bagit.py BAG

The package `bagit` (RFC 8493) reads the manifests and hashes every file by itself.
"""

import sys

import bagit


def main(folder):
    bag = bagit.Bag(folder)
    try:
        bag.validate()
    except bagit.BagError as error:
        print(error)
        return 1
    print(f"{len(bag.payload_entries())} payload files, valid")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
