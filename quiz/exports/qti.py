"""A drill's cases as QTI 2.1 or 3.0: one zip with a manifest, a test, the items and their drawings.

Numbers are marked by the app's own ranges (numeric_fields.py) and choices by their options: no spelling is compared.
Source: as in qti_item.py, with IMS Content Packaging 1.1 for 2.1 and its profile of 1.2 for 3.0. Written with the
standard library.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from html import escape
from xml.etree.ElementTree import Element, SubElement, register_namespace

from cases.curriculum.case_list import CaseList
from cases.worksheet import CAUTION
from quiz.exports.carried import ONLY_IN_THE_APP, carried, left_out_lines
from quiz.exports.qti_item import as_version, document, item

VERSIONS = ("2.1", "3.0")

_PACKAGES = {
    "2.1": ("http://www.imsglobal.org/xsd/imscp_v1p1", "QTIv2.1 Package", "1.0.0", "v2p1"),
    "3.0": ("http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1", "QTI Package", "3.0.0", "v3p0"),
}
"""By version: namespace of the manifest, its schema and the version of that, and how resource types end."""
ABOUT = "about.html"
"""What is in the package and what is not, for the person who takes it in."""
EPOCH = (1980, 1, 1, 0, 0, 0)
"""Of every file in the zip: the same drill gives the same bytes."""


def package(title: str, listed: CaseList, version: str) -> bytes:
    """Return the cases of a worksheet as one zip, but for those that ranges and choices cannot mark.

    Raises
    ------
    NothingOnPaper
        When every case is at the bench, which an item cannot bring along.
    NothingToMark
        When no case is left.
    """
    found, left_out = carried(listed.cases)
    files: dict[str, bytes] = {}
    resources: list[tuple[str, str, str, list[str]]] = []
    for number, questions in found:
        name = f"case-{number:03d}"
        figure = questions.case.type.figure(questions.case.findings, name)
        picture = f"{name}.svg" if figure else None
        if figure and picture:
            files[picture] = figure.svg.encode()
        files[f"{name}.xml"] = document(item(questions, name, f"Case {number}", picture, version))
        resources.append((name, "imsqti_item_xml", f"{name}.xml", [picture] if picture else []))
    names = [name for name, *_ in resources]
    files["test.xml"] = document(assessment(title, names, version))
    resources.insert(0, ("test", "imsqti_test_xml", "test.xml", [f"{name}.xml" for name in names]))
    lines = (f"Check code of the cases: {listed.digest}.", CAUTION, *left_out_lines(left_out), ONLY_IN_THE_APP)
    files[ABOUT] = _about(title, lines).encode()
    resources.append(("about", "webcontent", ABOUT, []))
    files["imsmanifest.xml"] = document(manifest(version, resources))
    return zipped(files)


def assessment(title: str, names: Sequence[str], version: str) -> Element:
    """Put the items into one test of one section, with a point for each."""
    root = Element("assessmentTest", {"identifier": "two-meridians-drill", "title": title})
    score = SubElement(root, "outcomeDeclaration")
    score.attrib |= {"identifier": "SCORE", "cardinality": "single", "baseType": "float"}
    score.set("normalMaximum", str(len(names)))
    part = SubElement(
        root, "testPart", {"identifier": "cases", "navigationMode": "nonlinear", "submissionMode": "individual"}
    )
    section = SubElement(part, "assessmentSection", {"identifier": "all", "title": title, "visible": "true"})
    for name in names:
        SubElement(section, "assessmentItemRef", {"identifier": name, "href": f"{name}.xml"})
    process = SubElement(root, "outcomeProcessing")
    total = SubElement(SubElement(process, "setOutcomeValue", {"identifier": "SCORE"}), "sum")
    SubElement(total, "testVariables", {"variableIdentifier": "SCORE"})
    return as_version(root, version)


def _about(title: str, words: Sequence[str]) -> str:
    """Say to the preceptor what this package leaves out."""
    lines = "".join(f"<p>{escape(one)}</p>\n" for one in words)
    head = f'<html lang="en">\n<head><meta charset="utf-8"><title>{escape(title)}</title></head>'
    return f"<!doctype html>\n{head}\n<body>\n<h1>{escape(title)}: about this package</h1>\n{lines}</body>\n</html>\n"


def manifest(version: str, resources: Sequence[tuple[str, str, str, list[str]]]) -> Element:
    """Write the manifest: every resource with its kind, its file and the files that it needs."""
    space, schema, schema_version, ending = _PACKAGES[version]
    register_namespace("", space)
    root = Element(f"{{{space}}}manifest", {"identifier": "two-meridians-drill"})
    about = SubElement(root, f"{{{space}}}metadata")
    SubElement(about, f"{{{space}}}schema").text = schema
    SubElement(about, f"{{{space}}}schemaversion").text = schema_version
    SubElement(root, f"{{{space}}}organizations")
    listed = SubElement(root, f"{{{space}}}resources")
    for name, kind, href, needed in resources:
        whole = f"{kind}{ending}" if kind.startswith("imsqti") else kind
        one = SubElement(listed, f"{{{space}}}resource", {"identifier": f"r-{name}", "type": whole, "href": href})
        SubElement(one, f"{{{space}}}file", {"href": href})
        for file in needed:
            if file.endswith(".xml"):
                SubElement(one, f"{{{space}}}dependency", {"identifierref": f"r-{file.removesuffix('.xml')}"})
            else:
                SubElement(one, f"{{{space}}}file", {"href": file})
    return root


def zipped(files: dict[str, bytes]) -> bytes:
    """Put files into a zip, the manifest first."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files, key=lambda name: (name != "imsmanifest.xml", name)):
            archive.writestr(zipfile.ZipInfo(name, EPOCH), files[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()
