"""A drill's cases as QTI items: one zip with a manifest, the items and their drawings, for 2.1 or for 1.2.

Platforms compare texts and know no tolerance, so every accepted spelling is listed; the feedback is the working.
Source: IMS Question & Test Interoperability 2.1 (information model and XML binding) and 1.2 (ASI XML binding), with
IMS Content Packaging 1.1. Written with the standard library.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence
from xml.etree.ElementTree import Element, SubElement, indent, register_namespace, tostring

from cases.casetype import Case
from cases.sheet import CAUTION, on_paper
from quiz import drills, qti12, qti21
from quiz.class_store import Drill

VERSIONS = ("2.1", "1.2")

CP = "http://www.imsglobal.org/xsd/imscp_v1p1"
EPOCH = (1980, 1, 1, 0, 0, 0)
"""Of every file in the zip: the same drill gives the same bytes."""

Write = Callable[[Case, str, str, str | None], Element]


def package(drill: Drill, version: str) -> bytes:
    """Return the cases that a drill's worksheet has as one zip: an item cannot bring the bench along.

    Raises
    ------
    CannotDraw
        When this version has no such case any more.
    NothingOnPaper
        When every case is at the bench.
    """
    printed = on_paper([drills.case_at(drill, place) for place in range(drills.places_on_paper(drill))])
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
        files["items.xml"] = document(qti12.assessment(drill.title, CAUTION, [item for _, item, _ in entries]))
        pictures = [one for _, _, one in entries if one]
        resources = [("items", "imsqti_xmlv1p2", "items.xml", pictures)]
    files["imsmanifest.xml"] = document(manifest(version, resources))
    return zipped(files)


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
