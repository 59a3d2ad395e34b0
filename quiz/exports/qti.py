"""A drill's cases as QTI items: one zip with a manifest, the items and their drawings, for 2.1 or for 1.2.

Platforms compare texts and know no tolerance, so the usual spellings of a right answer are listed (spellings.py), and a
case whose spellings cannot be listed is left out with a word; the feedback is the working.
Source: IMS Question & Test Interoperability 2.1 (information model and XML binding) and 1.2 (ASI XML binding), with
IMS Content Packaging 1.1. Written with the standard library.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence
from html import escape
from xml.etree.ElementTree import Element, SubElement, indent, register_namespace, tostring

from cases.curriculum.case_list import CaseList
from cases.errors import CaseError
from cases.procedure.case_type import Case
from cases.worksheet import CAUTION, on_paper
from quiz.exports import qti12, qti21
from quiz.exports.spellings import BOUNDS, LEFT_OUT, can_list

VERSIONS = ("2.1", "1.2")

CP = "http://www.imsglobal.org/xsd/imscp_v1p1"
ABOUT = "about.html"
"""What the platform will credit and what it will not, for whoever takes the package in."""
EPOCH = (1980, 1, 1, 0, 0, 0)
"""Of every file in the zip: the same drill gives the same bytes."""

Write = Callable[[Case, str, str, str | None], Element]


class NothingToMark(CaseError):
    """A drill of whose cases none can be marked by comparing texts."""

    def __init__(self) -> None:
        super().__init__(f"there is no case here that a platform can mark. {LEFT_OUT}")


def left_out(listed: CaseList) -> list[int]:
    """Return the numbers (from 1) of the cases on paper whose answers no list of texts can hold."""
    return [number for number, case in on_paper(listed.cases) if not can_list(case)]


def package(title: str, listed: CaseList, version: str) -> bytes:
    """Return the cases of a worksheet as one zip, but for those whose right answers cannot be listed as texts.

    Raises
    ------
    NothingOnPaper
        When every case is at the bench, which an item cannot bring along.
    NothingToMark
        When no case is left.
    """
    without = left_out(listed)
    printed = [(number, case) for number, case in on_paper(listed.cases) if number not in without]
    if not printed:
        raise NothingToMark
    write: Write = qti21.item if version == "2.1" else qti12.item
    files: dict[str, bytes] = {}
    entries = []
    for number, case in printed:
        name = f"case-{number:03d}"
        figure = case.type.figure(case.findings, name)
        picture = f"{name}.svg" if figure else None
        if figure and picture:
            files[picture] = figure.svg.encode()
        item = write(case, name, f"Case {number}", picture)
        entries.append((name, item, picture))
    if version == "2.1":
        files |= {f"{name}.xml": document(item) for name, item, _ in entries}
        resources = [(name, "imsqti_item_xmlv2p1", f"{name}.xml", [one] if one else []) for name, _, one in entries]
    else:
        about = (CAUTION, f"Check code of the cases: {listed.digest}.", *_left_out_words(without))
        files["items.xml"] = document(qti12.assessment(title, " ".join(about), [item for _, item, _ in entries]))
        pictures = [one for _, _, one in entries if one]
        resources = [("items", "imsqti_xmlv1p2", "items.xml", pictures)]
    files[ABOUT] = _about(title, listed, without).encode()
    resources.append(("about", "webcontent", ABOUT, []))
    files["imsmanifest.xml"] = document(manifest(version, resources))
    return zipped(files)


def _about(title: str, listed: CaseList, without: Sequence[int]) -> str:
    """Say to the preceptor what a platform will credit, and what this package leaves out."""
    words = (f"Check code of the cases: {listed.digest}.", CAUTION, *_left_out_words(without), *BOUNDS)
    lines = "".join(f"<p>{escape(one)}</p>\n" for one in words)
    head = f'<html lang="en">\n<head><meta charset="utf-8"><title>{escape(title)}</title></head>'
    return f"<!doctype html>\n{head}\n<body>\n<h1>{escape(title)}: what is credited</h1>\n{lines}</body>\n</html>\n"


def _left_out_words(numbers: Sequence[int]) -> tuple[str, ...]:
    if not numbers:
        return ()
    named = f"Case {numbers[0]} is" if len(numbers) == 1 else f"Cases {', '.join(map(str, numbers))} are"
    return (f"{named} not in this package. {LEFT_OUT}",)


def document(root: Element) -> bytes:
    """Write an element as a whole XML document."""
    indent(root)
    return bytes(tostring(root, encoding="utf-8", xml_declaration=True))


def manifest(version: str, resources: Sequence[tuple[str, str, str, list[str]]]) -> Element:
    """Write the manifest: every resource with its kind, its file and the files that it needs."""
    register_namespace("", CP)
    root = Element(f"{{{CP}}}manifest", {"identifier": "two-meridians-drill"})
    about = SubElement(root, f"{{{CP}}}metadata")
    SubElement(about, f"{{{CP}}}schema").text = "QTIv2.1 Package" if version == "2.1" else "IMS Content"
    SubElement(about, f"{{{CP}}}schemaversion").text = "1.0.0" if version == "2.1" else "1.1.3"
    SubElement(root, f"{{{CP}}}organizations")
    listed = SubElement(root, f"{{{CP}}}resources")
    for name, kind, href, needed in resources:
        one = SubElement(listed, f"{{{CP}}}resource", {"identifier": f"r-{name}", "type": kind, "href": href})
        for file in (href, *needed):
            SubElement(one, f"{{{CP}}}file", {"href": file})
    return root


def zipped(files: dict[str, bytes]) -> bytes:
    """Put files into a zip, the manifest first."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files, key=lambda name: (name != "imsmanifest.xml", name)):
            archive.writestr(zipfile.ZipInfo(name, EPOCH), files[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()
