"""``bpvet fhir``: the records as a bundle of HL7 FHIR resources, for other programs."""

from __future__ import annotations

import argparse

from bpvet.command.shared import options
from bpvet.command.shared.opening import inputs_read, usable
from bpvet.command.shared.output import counted, print_json, say, writable
from bpvet.files import write_whole

ABOUT = """\
Writes the records as one bundle of HL7 FHIR R4 resources: an Observation per reading, the
means of sessions derived from these, animals as patients, courses, laboratory values and
signs. Such a bundle is read back by every command like any other file.

example:
  bpvet fhir records -o bundle.json
"""


USAGE = "bpvet fhir PATH -o FILE [options]"
ARGUMENTS = (
    *options.PATH,
    options.RULE,
    options.argument("-o", "--output", required=True, metavar="FILE", help="file to write"),
    options.argument(
        "--snomed",
        action="store_true",
        help="add SNOMED CT codes, which need a licence in some countries",
    ),
    options.force("replace the file if it is there"),
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Write the bundle and say what is in it."""
    from bpvet.answers.fhir.fhir import fhir_bundle
    from bpvet.wording.en.command.written import left_behind

    path = writable(arguments.output, inputs_read(arguments), arguments.force)
    bundle = fhir_bundle(usable(arguments), arguments.rule, snomed=arguments.snomed)
    write_whole(path, bundle.to_json().encode(), arguments.force)
    if arguments.json:
        print_json(
            {
                "file": str(path),
                "resources": bundle.counts,
                "left_behind": bundle.left_behind,
            }
        )
        return
    kinds = ", ".join(f"{count} {kind}" for kind, count in bundle.counts.items()) or "nothing"
    say(
        f'Wrote {counted(sum(bundle.counts.values()), "resource")} into "{path}": {kinds}.',
        arguments.quiet,
    )
    for why, count in bundle.left_behind.items():
        say(left_behind(why, count), arguments.quiet)
