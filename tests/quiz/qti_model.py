"""A model of what QTI 2.2 allows in the part of it that a quiz uses, and a validator over it.

The official schema files come with no general package, and their licence does not let them be copied here. So the
classes of the standard are written down below as facts, one a line, and compiled to RELAX NG, which libxml2 checks.
Sources: 1EdTech, QTI 2.2 Assessment, Section and Item Information Model (final, 1 September 2015), the class of the
same name for each line, recalled; and the 2.2 profile of IMS Content Packaging 1.2. What the official examples show was
laid beside it: `test_qti.py` reads them where LARKSTAIR_QTI_EXAMPLES names their folder, and the official schema where
LARKSTAIR_QTI_SCHEMA names it.

A line is: class | attributes | content. An attribute is `name=type`, with `?` where it may be missing; `-` where there
is none. Content is a regular expression over classes; `%name` stands for a group, `text` for text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from lxml import etree  # type: ignore[import-untyped]

QTI = "http://www.imsglobal.org/xsd/imsqti_v2p2"
CP = "http://www.imsglobal.org/xsd/imscp_v1p1"
HTML5 = "http://www.imsglobal.org/xsd/imsqtiv2p2_html5_v1p0"
TEMPLATES = "http://www.imsglobal.org/question/qti_v2p2/rptemplates/"
_RNG = "http://relaxng.org/ns/structure/1.0"
_XSI = "{http://www.w3.org/2001/XMLSchema-instance}schemaLocation"

GROUPS = {
    # Classes inlineStatic, blockStatic, flowStatic, inline, block and flow of the content model.
    "inlineStatic": "text|br|img|object|span|em|strong|b|i|sub|sup|code|q|feedbackInline|printedVariable",
    "blockStatic": "p|div|ul|ol|blockquote|pre|table|h1|h2|h3|h4|h5|h6|hr|html5",
    "flowStatic": "%inlineStatic|%blockStatic",
    "inline": "%inlineStatic|endAttemptInteraction",
    "block": "%blockStatic|rubricBlock|choiceInteraction|extendedTextInteraction",
    "flow": "%inline|%block",
    "expression": (
        "variable|correct|baseValue|match|isNull|not|and|or|sum|divide|product|lt|gt|equal|multiple|testVariables"
    ),
    "responseRule": "responseCondition|setOutcomeValue|exitResponse",
    "outcomeRule": "outcomeCondition|setOutcomeValue|exitTest",
}
BODY = "id?=id class?=string lang?=string label?=string role?=string"
"""Attributes of the class bodyElement."""
TYPES = {
    "cardinality": "single|multiple|ordered|record",
    "baseType": (
        "identifier|boolean|integer|float|string|point|pair|directedPair|duration|file|uri|intOrIdentifier|coords"
    ),
    "view": "author|candidate|proctor|scorer|testConstructor|tutor",
    "showHide": "show|hide",
}
ITEM = """
assessmentItem | identifier=string title=string adaptive=boolean timeDependent=boolean label?=string lang?=string \
toolName?=string toolVersion?=string | responseDeclaration* outcomeDeclaration* stylesheet* itemBody? \
responseProcessing? modalFeedback*
responseDeclaration | identifier=id cardinality=cardinality baseType?=baseType | \
defaultValue? correctResponse? mapping?
outcomeDeclaration | identifier=id cardinality=cardinality baseType?=baseType view?=views interpretation?=string \
longInterpretation?=uri normalMaximum?=float normalMinimum?=float masteryValue?=float | defaultValue?
defaultValue | interpretation?=string | value+
correctResponse | interpretation?=string | value+
value | baseType?=baseType fieldIdentifier?=id | text
mapping | lowerBound?=float upperBound?=float defaultValue?=float | mapEntry+
mapEntry | mapKey=string mappedValue=float caseSensitive?=boolean | empty
stylesheet | href=uri type=string media?=string title?=string | empty
itemBody | %body | (%block)*
choiceInteraction | %body responseIdentifier=id shuffle?=boolean maxChoices?=count minChoices?=count \
orientation?=vertical|horizontal | prompt? simpleChoice+
extendedTextInteraction | %body responseIdentifier=id expectedLength?=count expectedLines?=count | prompt?
endAttemptInteraction | %body responseIdentifier=id title=string countAttempt?=boolean | empty
prompt | %body | (%flowStatic)*
simpleChoice | %body identifier=id fixed?=boolean templateIdentifier?=id showHide?=showHide | (%flowStatic)*
feedbackInline | %body outcomeIdentifier=id showHide=showHide identifier=id title?=string | (%inlineStatic)*
modalFeedback | outcomeIdentifier=id showHide=showHide identifier=id title?=string | (%flowStatic)*
rubricBlock | %body view=views use?=string | (%blockStatic)*
printedVariable | %body identifier=id format?=string base?=count | empty
responseProcessing | template?=uri templateLocation?=uri | (%responseRule)*
responseCondition | - | responseIf responseElseIf* responseElse?
responseIf | - | (%expression) (%responseRule)*
responseElseIf | - | (%expression) (%responseRule)*
responseElse | - | (%responseRule)*
exitResponse | - | empty
setOutcomeValue | identifier=id | (%expression)
variable | identifier=id weightIdentifier?=id | empty
correct | identifier=id | empty
baseValue | baseType=baseType | text
match | - | (%expression) (%expression)
isNull | - | (%expression)
not | - | (%expression)
and | - | (%expression)+
or | - | (%expression)+
sum | - | (%expression)+
product | - | (%expression)+
divide | - | (%expression) (%expression)
lt | - | (%expression) (%expression)
gt | - | (%expression) (%expression)
equal | toleranceMode=exact|absolute|relative tolerance?=string | (%expression) (%expression)
multiple | - | (%expression)*
img | %body src=uri alt=string width?=string height?=string longdesc?=uri | empty
object | %body data=uri type=string width?=string height?=string name?=string | (%flow)*
br | %body | empty
hr | %body | empty
ul | %body | li*
ol | %body | li*
li | %body | (%flow)*
div | %body | (%flow)*
blockquote | %body cite?=uri | (%block)*
table | %body summary?=string | (tbody+|tr+)
tbody | %body | tr+
tr | %body | (td|th)*
td | %body | (%flow)*
th | %body | (%flow)*
""" + "".join(
    f"{name} | %body | (%inline)*\n"
    for name in re.findall(r"\w+", "p pre h1 h2 h3 h4 h5 h6 span em strong b i sub sup code q")
)  # fmt: skip
TEST = """
assessmentTest | identifier=string title=string toolName?=string toolVersion?=string | outcomeDeclaration* \
timeLimits? stylesheet* testPart+ outcomeProcessing? testFeedback*
timeLimits | minTime?=float maxTime?=float allowLateSubmission?=boolean | empty
testPart | identifier=id navigationMode=linear|nonlinear submissionMode=individual|simultaneous | \
itemSessionControl? timeLimits? assessmentSection+ testFeedback*
itemSessionControl | maxAttempts?=count showFeedback?=boolean allowReview?=boolean showSolution?=boolean \
allowComment?=boolean allowSkipping?=boolean validateResponses?=boolean | empty
assessmentSection | identifier=id title=string visible=boolean required?=boolean fixed?=boolean keepTogether?=boolean \
| itemSessionControl? timeLimits? selection? ordering? rubricBlock* (assessmentSection|assessmentItemRef)*
selection | select=count withReplacement?=boolean | empty
ordering | shuffle?=boolean | empty
assessmentItemRef | identifier=id href=uri required?=boolean fixed?=boolean category?=string | \
itemSessionControl? timeLimits? weight*
weight | identifier=id value=float | empty
outcomeProcessing | - | (%outcomeRule)*
outcomeCondition | - | outcomeIf outcomeElseIf* outcomeElse?
outcomeIf | - | (%expression) (%outcomeRule)*
outcomeElseIf | - | (%expression) (%outcomeRule)*
outcomeElse | - | (%outcomeRule)*
exitTest | - | empty
testVariables | sectionIdentifier?=id includeCategory?=string excludeCategory?=string variableIdentifier=id \
baseType?=baseType weightIdentifier?=id | empty
testFeedback | access=during|atEnd outcomeIdentifier=id showHide=showHide identifier=id title?=string | (%flowStatic)*
"""
MANIFEST = """
manifest | identifier=ID | metadata organizations resources
metadata | - | schema schemaversion
schema | - | text
schemaversion | - | text
organizations | - | empty
resources | - | resource*
resource | identifier=ID type=kind href?=uri | file* dependency*
file | href=uri | empty
dependency | identifierref=IDREF | empty
"""
_KINDS = "imsqti_test_xmlv2p2|imsqti_section_xmlv2p2|imsqti_item_xmlv2p2|webcontent|imsqti_rptemplate_xmlv2p2"
_PLAIN = {
    "id": "NCName", "boolean": "boolean", "float": "double", "count": "nonNegativeInteger", "uri": "anyURI",
    "string": "string", "ID": "ID", "IDREF": "IDREF",
}  # fmt: skip


def rules(text: str) -> Iterator[tuple[str, str, str]]:
    """(class, attributes, content) of each line."""
    for line in filter(None, text.splitlines()):
        name, attributes, content = (part.strip() for part in line.split(" | ", 2))
        yield name, attributes.replace("%body", BODY).replace("-", ""), content


def validator(text: str, space: str, root: str) -> etree.RelaxNG:
    """RELAX NG over a table of classes."""
    grammar = etree.Element(
        f"{{{_RNG}}}grammar", {"datatypeLibrary": "http://www.w3.org/2001/XMLSchema-datatypes"},
        nsmap={None: _RNG},
    )  # fmt: skip
    _add(_add(grammar, "start"), "ref", name=root)
    for name, attributes, content in rules(text):
        element = _add(_add(grammar, "define", name=name), "element", name=name, ns=space)
        for attribute in attributes.split():
            _attribute(element, attribute)
        if name == root:
            _attribute(element, f"{_XSI}?=string")
        _content(element, content)
    foreign = _add(_add(grammar, "define", name="html5"), "element")
    _add(foreign, "nsName", ns=HTML5)
    free = _add(_add(foreign, "zeroOrMore"), "choice")
    _add(_add(free, "attribute"), "anyName")
    _add(free, "text")
    _add(free, "ref", name="html5")
    return etree.RelaxNG(etree.ElementTree(grammar))


def _add(parent: etree._Element, tag: str, **attributes: str) -> etree._Element:
    return etree.SubElement(parent, f"{{{_RNG}}}{tag}", attributes)


def _attribute(element: etree._Element, text: str) -> None:
    name, _, kind = text.partition("=")
    parent = _add(element, "optional") if name.endswith("?") else element
    name = name.rstrip("?")
    made = _add(parent, "attribute", name=name.rpartition("}")[2])
    if name == "lang":
        made.set("ns", "http://www.w3.org/XML/1998/namespace")
    elif name.startswith("{"):
        made.set("ns", name[1:].partition("}")[0])
    words = _KINDS if kind == "kind" else TYPES["view"] if kind == "views" else TYPES.get(kind, kind)
    if kind in _PLAIN:
        _add(made, "data", type=_PLAIN[kind])
        return
    if kind == "views":
        made = _add(_add(made, "list"), "oneOrMore")
    choice = _add(made, "choice")
    for word in words.split("|"):
        _add(choice, "value", type="token").text = word


def _content(element: etree._Element, text: str) -> None:
    """Compile a content expression: sequence, `|`, parentheses, `* + ?`."""
    while "%" in text:
        text = re.sub(r"%(\w+)", lambda m: GROUPS[m[1]], text)
    tokens = re.findall(r"\w+|[()|*+?]", text)

    def sequence(at: int) -> tuple[etree._Element, int]:
        choice = etree.Element(f"{{{_RNG}}}choice")
        group = _add(choice, "group")
        while at < len(tokens) and tokens[at] != ")":
            if tokens[at] == "|":
                group, at = _add(choice, "group"), at + 1
                continue
            if tokens[at] == "(":
                one, at = sequence(at + 1)
            elif tokens[at] in ("text", "empty"):
                one = etree.Element(f"{{{_RNG}}}{tokens[at]}")
            else:
                one = etree.Element(f"{{{_RNG}}}ref", name=tokens[at])
            at += 1
            if at < len(tokens) and tokens[at] in "*+?":
                kind = {"*": "zeroOrMore", "+": "oneOrMore", "?": "optional"}[tokens[at]]
                _add(group, kind).append(one)
                at += 1
            else:
                group.append(one)
        for part in list(choice):
            if len(part) == 1:
                choice.replace(part, part[0])
        return (choice[0] if len(choice) == 1 else choice), at

    element.append(sequence(0)[0])


_ITEM = validator(ITEM + TEST, QTI, "assessmentItem")
_TEST = validator(ITEM + TEST, QTI, "assessmentTest")
_MANIFEST = validator(MANIFEST, CP, "manifest")
_STATIC = ("prompt", "simpleChoice", "feedbackInline", "modalFeedback", "rubricBlock", "testFeedback")


def faults(root: etree._Element) -> list[str]:
    """What the model does not allow in a document; nothing for one that keeps to it."""
    schema = {"assessmentItem": _ITEM, "assessmentTest": _TEST, "manifest": _MANIFEST}.get(_short(root))
    if schema is None:
        return [f"{_short(root)} is no document"]
    plain = etree.fromstring(etree.tostring(root))
    for element in plain.iter("{*}*"):
        # Version 2.2 lets the data-* and aria-* attributes of HTML 5 stand on any element of the body.
        for name in [a for a in element.attrib if a.startswith(("data-", "aria-"))]:
            del element.attrib[name]
    found = [] if schema.validate(plain) else [str(e.message) for e in schema.error_log][:5]
    return found + (_manifest_faults(root) if _short(root) == "manifest" else _references(root))


def _references(root: etree._Element) -> list[str]:
    """Variables, choices and feedback that name each other (classes itemVariable, choice, feedbackElement)."""
    found: list[str] = []
    declared = {_get(e): e for e in root.iter(f"{{{QTI}}}responseDeclaration", f"{{{QTI}}}outcomeDeclaration")}
    names = [_get(e) for e in root.iter(f"{{{QTI}}}responseDeclaration", f"{{{QTI}}}outcomeDeclaration")]
    found += [f"{n} is declared twice" for n in {n for n in names if names.count(n) > 1}]
    for tag, attribute in (("variable", "identifier"), ("correct", "identifier"), ("setOutcomeValue", "identifier")):
        for element in root.iter(f"{{{QTI}}}{tag}"):
            found += [] if element.get(attribute) in declared else [f"{tag}: {element.get(attribute)} is not declared"]
    for element in root.iter("{*}*"):
        for attribute in ("responseIdentifier", "outcomeIdentifier"):
            if element.get(attribute) is not None and element.get(attribute) not in declared:
                found.append(f"{_short(element)}: {element.get(attribute)} is not declared")
        if _short(element).endswith("Interaction") and any(_short(a) in _STATIC for a in element.iterancestors()):
            found.append(f"{_short(element)} stands inside what takes none")
    for one in root.iter(f"{{{QTI}}}choiceInteraction"):
        choices = [_get(c) for c in one.iter(f"{{{QTI}}}simpleChoice")]
        response = declared.get(one.get("responseIdentifier") or "")
        values = [] if response is None else [v.text for v in response.iterfind(f"{{{QTI}}}correctResponse/*")]
        found += [f"{v} is no choice" for v in values if v not in choices]
        found += ["a choice stands twice"] if len(set(choices)) < len(choices) else []
        if response is not None and one.get("maxChoices", "1") == "1" and response.get("cardinality") != "single":
            found.append("one choice wants a response of cardinality single")
    refs = [_get(e) for e in root.iter(f"{{{QTI}}}assessmentItemRef", f"{{{QTI}}}assessmentSection")]
    return found + (["two parts of the test share an identifier"] if len(set(refs)) < len(refs) else [])


def _manifest_faults(root: etree._Element) -> list[str]:
    found = []
    names = [e.get("identifier") for e in root.iter("{*}*") if e.get("identifier")]
    found += ["an identifier stands twice"] if len(set(names)) < len(names) else []
    for resource in root.iter(f"{{{CP}}}resource"):
        files = [f.get("href") for f in resource.iterfind(f"{{{CP}}}file")]
        found += [] if resource.get("href") in files else [f"{resource.get('identifier')} does not list its own file"]
        needs = [d.get("identifierref") for d in resource.iterfind(f"{{{CP}}}dependency")]
        found += [f"{n} is not there" for n in needs if n not in names]
    told = [e.text for e in root.iterfind(f"{{{CP}}}metadata/*")]
    return found + ([] if told == ["QTIv2.2 Package", "1.0.0"] else [f"the manifest says {told}"])


def mutants(root: etree._Element) -> Iterator[tuple[str, etree._Element]]:
    """Copies of a document, each with one rule broken."""
    table = {name: (attributes, content) for name, attributes, content in (*rules(ITEM + TEST), *rules(MANIFEST))}
    free = {"assessmentSection", "assessmentItemRef"}
    for n, original in enumerate(root.iter("{*}*")):
        name = _short(original)
        if name not in table:
            continue
        given = dict(a.partition("=")[::2] for a in table[name][0].split())

        def spoilt(n: int = n) -> tuple[etree._Element, etree._Element]:
            copy = etree.fromstring(etree.tostring(root))
            return copy, list(copy.iter("{*}*"))[n]

        for attribute in given:
            if not attribute.endswith("?"):
                copy, there = spoilt()
                del there.attrib[attribute]
                yield f"{name} without {attribute}", copy
            if given[attribute] not in ("string", "uri") and there_is(original, attribute.rstrip("?")):
                copy, there = spoilt()
                there.set(attribute.rstrip("?"), "1 ~ 2")
                yield f"{name} with an odd {attribute}", copy
        copy, there = spoilt()
        there.set("odd", "1")
        yield f"{name} with an attribute of another class", copy
        copy, there = spoilt()
        there.append(etree.Element(f"{{{CP if name in ('manifest',) else QTI}}}odd"))
        yield f"{name} with a child of another class", copy
        for at, (one, other) in enumerate(pairwise(original)):
            pair = {_short(one), _short(other)}
            if len(pair) == 2 and pair != free and "%" not in table[name][1]:
                copy, there = spoilt()
                there.insert(at, there[at + 1])
                yield f"{name} with {_short(other)} before {_short(one)}", copy


def there_is(element: etree._Element, attribute: str) -> bool:
    """True where the element has the attribute."""
    return element.get(attribute) is not None


def renamed(root: etree._Element) -> etree._Element:
    """A document of version 3.0 with the names of 2.2: the examples of tests are kept in 3.0 alone."""

    def old(name: str) -> str:
        head, *rest = name.removeprefix("qti-").split("-")
        return head + "".join(r.capitalize() for r in rest)

    kept = {old(k): str(v) for k, v in root.attrib.items() if not k.startswith("{")}
    made = etree.Element(f"{{{QTI}}}{old(_short(root))}", kept)
    made.text, made.tail = root.text, root.tail
    for kid in root.iterchildren("{*}*"):
        one = renamed(kid)
        # A wrapper that 3.0 put between a rubric and its content.
        made.extend(list(one)) if _short(one) == "contentBody" else made.append(one)
    return made


def _short(element: etree._Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _get(element: etree._Element) -> str:
    return element.get("identifier") or ""
