"""Sets one document with typst, alone in a process of its own: memory grows with every document set, and a limit on it
can only be held from outside. Knows nothing of Pinmap.

Standard input: JSON {"template", "fonts", "data", "tags", "timestamp"}; standard output: the PDF.
"""

import sys

try:
    import resource
except ImportError:  # not a Unix: the time limit of the caller still holds
    resource = None  # type: ignore[assignment]  # the module is a name here, nothing else

if resource is not None:
    limits = ((resource.RLIMIT_AS, 4 << 30), (resource.RLIMIT_CPU, 120), (resource.RLIMIT_CORE, 0))
    for which, most in limits:
        try:
            resource.setrlimit(which, (most, most))
        except (ValueError, OSError) as problem:  # some systems refuse a limit on address space
            print(f"limit {which} not set: {problem}", file=sys.stderr)

import json
from pathlib import Path

import typst


def main() -> None:
    order = json.load(sys.stdin)
    template = Path(order["template"])
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[order["fonts"]])
    pdf = typst.compile(
        template,
        root=template.parent,
        font_paths=fonts,
        format="pdf",
        sys_inputs={"data": json.dumps(order["data"], ensure_ascii=False)},
        timestamp=order["timestamp"],
        pdf_tags=order["tags"],
    )
    sys.stdout.buffer.write(pdf)


try:
    main()
except typst.TypstError as problem:
    print(problem.message, file=sys.stderr)
    sys.exit(3)
