"""Turn ticked names into links, wherever they stand; a ticked ``ek.`` name must be public."""

from __future__ import annotations

import re
from typing import Any

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx import addnodes
from sphinx.application import Sphinx
from sphinx.environment import BuildEnvironment
from sphinx.transforms import SphinxTransform
from sphinx.util import logging
from sphinx.util.nodes import make_refnode
from sphinx.writers.html5 import HTML5Translator

from .names import resolve, spaces

CITED = re.compile(r"ek(?:\.\w+)+(?:\(.*\))?")
KIND = "public"  # of the links made here
OWN = "own"  # the class of ticked words that are a page's own arguments


class Linked(SphinxTransform):
    """Links in place of ticked public names."""

    default_priority = 400

    def apply(self, **_: Any) -> None:
        """Wrap every ticked word that means a public name, but on its own page."""
        for literal in list(self.document.findall(nodes.literal)):
            if OWN in literal["classes"] or isinstance(literal.parent, nodes.reference):
                continue
            text = literal.astext()
            found = resolve(text)
            if found is not None:
                if found[0].page != self.env.docname:
                    literal.replace_self(link(literal, found[0].page, self.env.docname))
            elif text.removeprefix("ek.") in spaces():
                literal.replace_self(link(literal, "namespaces", self.env.docname))
            elif CITED.fullmatch(text):
                logging.getLogger(__name__).warning("%s is no public name", text, location=literal)


def link(literal: nodes.literal, page: str, here: str) -> addnodes.pending_xref:
    """A ticked word that leads to a page."""
    return addnodes.pending_xref(
        "",
        literal.deepcopy(),
        refdomain="",
        reftype=KIND,
        reftarget=page,
        refdoc=here,
    )


def lead(
    app: Sphinx, env: BuildEnvironment, node: addnodes.pending_xref, shown: nodes.TextElement
) -> nodes.reference | None:
    """Lead a link of ours to its page, set as code."""
    page = node["reftarget"]
    if node["reftype"] != KIND or page not in env.found_docs:
        return None
    return make_refnode(app.builder, node["refdoc"], page, None, shown)


def inline(writer: HTML5Translator, node: nodes.math) -> None:
    """A formula in a line, as MathML, which needs no script."""
    writer.body.append(tex2mathml(node.astext()))
    raise nodes.SkipNode


def block(writer: HTML5Translator, node: nodes.math_block) -> None:
    """A formula on a line of its own, as MathML."""
    writer.body.append(tex2mathml(node.astext(), as_block=True))
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Register with Sphinx."""
    app.add_transform(Linked)
    app.add_html_math_renderer("mathml", (inline, None), (block, None))
    app.connect("missing-reference", lead)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
