//! The page for a human who opens a bag.

/// The page, at a position of the trail.
pub fn readme(programme_code: &str, programme_name: &str, position: u64) -> String {
    format!(
        "# {programme_name} ({programme_code})\n\n\
         The whole record of this programme at trail position {position}: a BagIt bag (RFC 8493)\n\
         written by emberbook {version}.\n\n{WHAT}{BY_PROGRAM}{BY_HAND}{CAUTIONS}",
        version = env!("CARGO_PKG_VERSION"),
    )
}

const WHAT: &str = "\
## What is where

| where | what |
| --- | --- |
| `data/register/*.csv` | sites, stove models, households (pseudonymous codes), deployments, their ends |
| `data/evidence/*.csv` | surveys, tests, weighings, laboratory results: every accepted row |
| `data/batches.csv` | what was accepted together, with the hash and the place of the file it came in |
| `data/corrections.csv` | rows and batches that count no more, from which trail entry on |
| `data/files/` | the uploaded files, byte for byte; each is named by its SHA-256 |
| `data/rounds/*.csv` | the rounds; frame, seed and draw of each one that the program drew |
| `data/periods.csv` | the periods that are stated |
| `data/factors.json` | every factor version with its unit, spread, source and mark |
| `data/methodologies.json` | every methodology version |
| `data/statements/*.json` | statements with their traces, byte for byte as recorded |
| `data/statements/*.prov.json` | the same traces as W3C PROV-JSON |
| `data/findings.json` | findings of verifiers with their dialogues |
| `data/attachments/` | files that findings name, where they were sent; each is named by its SHA-256 |
| `data/trail/entries.jsonl` | the append-only log: line n is leaf n - 1 |
| `data/trail/contents.jsonl` | what each entry committed to, in the same order |
| `data/trail/checkpoint.txt` | the signed head of the log (C2SP checkpoint, Ed25519) |
| `data/trail/checkpoint-key.txt` | the public key that signs it; compare it with a copy you trust |
| `data/datapackage.json` | types, bounds, units and keys of the tables (Data Package) |

Batches without a file in `data/batches.csv` came as rows that were typed in, as corrected rows, or
before files were kept. Refused files are never part of the record.

";

const BY_PROGRAM: &str = "\
## Check it by the program

Without any network or database:

    emberbook verify PATH-TO-THIS-BAG

It checks every checksum; the trail up to its signed head; every row against its batch; every uploaded
file, read again, against the rows; every frame, seed and draw; and it computes every statement again
from the rows. `--key KEY` demands a key that you trust, `--kept CHECKPOINT` that the trail still
begins as it did when you kept that head.

";

const BY_HAND: &str = "\
## Check it by hand

- Checksums: `sha256sum -c manifest-sha256.txt`; the names in `data/files/` are such sums too.
- Leaf n of the log is SHA-256 over 0x00 and line n + 1 of `entries.jsonl` (without its line end). The
  leaves make the Merkle tree of RFC 9162 whose root stands in `checkpoint.txt`. `content` in an entry
  is the SHA-256 of the same line of `contents.jsonl`.
- `row_hash` is SHA-256 over 0x00 and the row's canonical JSON (RFC 8785): an object of the template's
  columns, each a string as it stands in the table, or null where it is empty. Columns that a file may
  leave out (`enumerator_code`, `started_at`, `ended_at`) are in it only where they are not empty. The
  hashes of a batch, in file order, are the leaves of a tree whose root stands in its trail entry.
- A row counts at a position of the trail where the entry of its batch is below it and no correction
  with an entry below it names the row or its batch.
- The statements name formula, inputs and unrounded value of each node of their traces, and the
  position that the evidence was read at.

Text cells of these tables that a spreadsheet would take for a formula, because they begin with
`= + - @`, a tab or a carriage return and are no number, have an apostrophe before them; negative
numbers stay numbers. What was said is in `contents.jsonl` and in the uploaded files as it came: do not
open those in a spreadsheet without care.

";

const CAUTIONS: &str = "\
## What this is not

These are estimates for accounting, not a health assessment. Nothing here is an opinion of a
verification body: that this bag passes its checks says that record, proofs and figures agree with each
other, not that what was measured is true. Issuance and any public claim rest with an accredited
validation and verification body and the rules of the scheme. An uploaded workbook may hold what its
program wrote into it beside the rows, such as the name of an author.
";
