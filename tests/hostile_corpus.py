# ruff: noqa: E501  (rows of data)
"""Text and files that somebody might send to do harm, by family."""

from __future__ import annotations

import io
import json
import zipfile

_TAGS = ("img src=x", "svg", "iframe", "body", "video", "audio", "details open", "input autofocus", "math", "object")
_BREAKS = ('">', "'>", '" ', "' ", "</textarea>", "</select>", "</title>", "</option>", "-->", "]]>")
_FORMULAS = ("1+1", "cmd|' /C calc'!A0", 'HYPERLINK("http://evil.example","x")', "IMPORTXML(A1)", "SUM(A1:A9)")

MARKUP = [
    *(f"<{tag} on{event}=alert(1)>" for tag in _TAGS for event in ("load", "error", "focus")),
    *(f"{out}<script>alert(1)</script>" for out in _BREAKS),
    *(f"{out}onmouseover=alert(1) x=" for out in _BREAKS),
    "<svg><script>alert(1)</script></svg>", "<svg><animate onbegin=alert(1)>", "<svg><a xlink:href=javascript:alert(1)>",
    "<svg><foreignObject><script>alert(1)</script></foreignObject></svg>", "<svg><use href=data:image/svg+xml,x>",
    "<script src=//evil.example></script>", "<SCRIPT>alert(1)</SCRIPT>", "<scr<script>ipt>alert(1)</script>",
    "<style>*{display:none}</style>", "<link rel=stylesheet href=//evil.example>", "<base href=//evil.example>",
    "<meta http-equiv=refresh content=0;url=//evil.example>", "<form action=//evil.example>", "<template><script>",
    "<noscript><p title=\"</noscript><img src=x onerror=alert(1)>\">", "<!--", "<!--><script>", "<![CDATA[x", "<?xml?>",
    "&lt;script&gt;", "&#60;script&#62;", "<a href=javascript:alert(1)>x</a>", "<div style=x:expression(alert(1))>",
]  # fmt: skip
ADDRESSES = [
    "javascript:alert(1)", "JaVaScRiPt:alert(1)", " javascript:alert(1)", "java\tscript:alert(1)", "vbscript:x",
    "data:text/html,<script>alert(1)</script>", "//evil.example", "http://evil.example", "\\\\evil.example\\x",
    "file:///etc/passwd", "http://[::1]/", "?x=1&y=2", "#x", "%00", "%2e%2e%2f", "%0d%0aSet-Cookie:a=b",
]  # fmt: skip
FORMULAS = [f"{sign}{text}" for sign in ("=", "+", "-", "@", "\t=", "\r=", "\uff1d") for text in _FORMULAS]
PATHS = [
    "../x", "../../etc/passwd", "..\\..\\windows", "....//....//x", "/etc/passwd", "C:\\x", "C:x", "\\\\?\\C:\\x", "CON",
    "NUL.csv", "aux", "a/b/c", "a\\b", ".", "..", "~", "~root", ".htaccess", "x.csv/", "x\x00.csv", "a%2Fb", "%c0%ae%c0%ae/",
]  # fmt: skip
TYPESETTING = [
    "#panic(1)", '#read("/etc/passwd")', '#include "/etc/passwd"', '#import "x": *', "#set page(width: 1pt)",
    "#while true {}", "#let x = 1", "$ x $", "$#panic(1)$", "= Heading", "- item", "*bold*", "_it_", "`raw`", "```x",
    "<label>", "@ref", "\\ ", "#[x", "]", "#{", "}", "//comment", "/* x", "~", "---", '"', "#eval(\"1\")",
    "\\input{/etc/passwd}", "\\write18{id}", "%comment",
]  # fmt: skip
TEMPLATES = [
    "{{7*7}}", "{% raw %}", "{% endblock %}", "{#", "${7*7}", "#{7*7}", "<%= 7*7 %>", "{{config}}", "{{self.__class__}}",
    "{0}", "{x!r}", "%s%s%n", "%(x)s", "$x", "`id`", "$(id)", "; id", "| id", "&& id", "\nid\n",
]  # fmt: skip
QUERIES = [
    "' OR 1=1 --", '"; DROP TABLE pin; --', "1; DELETE FROM job", "') OR ('1'='1", "\\'", "''", "%' AND 1=1", "_%", "*",
    "digraph{a->b}", 'a [label="x"]', "\\N \\G", "a|b{c}<d>", "a->b;", "{a b}", "[x]", "null", "None", "undefined", "true",
    '{"a":1}', "[1,2]", "---\na: 1", "!!python/object:x", "O:8:\"x\":0:{}",
]  # fmt: skip
SIGNS = [
    "\u202eabc", "a\u200bb", "\ufeffx", "\ufffe", "\uffff", "\u2028", "\u2029", "\u0085", "\U0001f527 wrench", "名前",
    "é" * 300, "e\u0301" * 100, "\u0300" * 200, "\u05d0\u05d1", "\u0130i\u0131", "ß", "ﬁ", "Ａ", "\U000e0001", "\U0010ffff",
    "ʼ", "‘’“”", "−1", "１２", "½", "Ω", "µ", "²", " ", "\n", "\r\n", "\t", "\u00a0", "\u3000", "\u2003x\u2003",
]  # fmt: skip
CONTROLS = [f"a{chr(code)}b" for code in (*range(9), 11, 12, *range(14, 32), 127)]
NUMBERS = [
    "NaN", "inf", "-inf", "-1", "-0", "1e999", "1e-999", "0x10", "0b1", "1_000", "1,5", "1.5.5", "9" * 400, "1e308",
    "0.1" + "0" * 500, "99999999999", "-99999999999", "1/0", "--1", "+-1", "١٢", "2147483648", "1 000", "1'000",
]  # fmt: skip
LONG = [
    "A" * 5000,
    "A " * 5000,
    "\n" * 3000,
    "<" * 3000,
    "&" * 3000,
    '"' * 3000,
    "a,b;" * 2000,
    "ab\n" * 2000,
    "A" * 100_000,
]

TEXTS = [
    *MARKUP, *ADDRESSES, *FORMULAS, *PATHS, *TYPESETTING, *TEMPLATES, *QUERIES, *SIGNS, *CONTROLS, *NUMBERS, *LONG,
]  # fmt: skip


def _zipped(files: dict[str, bytes], **how: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, **how) as made:  # type: ignore[arg-type]  # compresslevel
        for name, data in files.items():
            made.writestr(name, data)
    return out.getvalue()


_BOOK = {
    "[Content_Types].xml": b"<Types/>",
    "xl/workbook.xml": b'<workbook><sheets><sheet name="a" sheetId="1"/></sheets></workbook>',
}
_ENTITIES = b'<!DOCTYPE x [<!ENTITY a "' + b"a" * 1000 + b'">' + b"".join(
    b'<!ENTITY %c "%b">' % (c, b"&%c;" % (c - 1) * 50) for c in range(ord("b"), ord("h"))
) + b"]><sst><si><t>&g;</t></si></sst>"  # fmt: skip

FILES = [
    b"", b"\x00", b"\x00" * 5000, b"\xff\xfe", b"\xfe\xff", b"\xff\xfe\x00\x00", b"\xef\xbb\xbf", b"\xff" * 50,
    b"\xc0\xaf,\xe0\x80\xaf", b"+ADw-script+AD4-", "connector,cavity\nX,é\n".encode("latin-1"),
    "connector,cavity\nX,1\n".encode("utf-16"), "connector,cavity\nX,1\n".encode("utf-32"),
    b"PK\x03\x04", b"PK\x03\x04" + b"\x00" * 100, b"PK\x05\x06" + b"\x00" * 18, b"%PDF-1.7", b"\x89PNG\r\n", b"GIF89a",
    b"\x1f\x8b\x08" + b"\x00" * 20, b"BZh9", b"Rar!\x1a\x07", b"\x7fELF", b"MZ", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
    _zipped(_BOOK), _zipped(_BOOK | {"xl/worksheets/sheet1.xml": b"\x00" * 30_000_000}),
    _zipped(_BOOK | {"xl/sharedStrings.xml": _ENTITIES}), _zipped({"../../etc/passwd": b"x", "/abs": b"x"}),
    _zipped({"a.zip": _zipped({"b.zip": _zipped({"c": b"\x00" * 1_000_000})})}), _zipped({f"{n}": b"" for n in range(3000)}),
    b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", b"<html><script>alert(1)</script>",
    b"<?xml version='1.0'?><!DOCTYPE x SYSTEM 'file:///etc/passwd'><x/>", b"<table><tr><td>=1+1</td></tr></table>",
    b"connector,cavity\n\x00,1\n", b"connector,cavity,function\nX,1,=1+1\n", b"a" * 1_000_000, b",,,,\n" * 1000,
    b'"unclosed', b'"' * 5000, b"connector;cavity\n" + b"X;1\n" * 3000, b"," * 20_000, b"\r" * 5000, b"sep=;\nconnector;cavity\n",
    b"connector,cavity\n<script>alert(1)</script>,<img src=x onerror=alert(1)>\n", b"connector,connector,cavity\nX,Y,1\n",
    b"{", b"[]", b"null", b"1", b'""', b"{}", b'{"version": 1}', b'{"format": "pinmap"}', b"[" * 5000, b'{"a":' * 2000,
    b'{"a":1,"a":2}', b"NaN", b'{"version": 1e999}', b'{"\\ud800": 1}', b'{"version": ' + b"9" * 5000 + b"}",
    json.dumps({"version": 10**30, "job": {"key": "../x"}}).encode(), b'{"job": {"__proto__": {}}}',
]  # fmt: skip
