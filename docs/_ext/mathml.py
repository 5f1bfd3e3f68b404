"""A Sphinx extension: equations as MathML, which browsers draw themselves, without a network."""

from docutils import nodes
from latex2mathml.converter import convert
from sphinx.application import Sphinx
from sphinx.util.typing import ExtensionMetadata
from sphinx.writers.html5 import HTML5Translator

__all__ = ["setup"]


def _inline(translator: HTML5Translator, node: nodes.math) -> None:
    translator.body.append(convert(node.astext()))
    raise nodes.SkipNode


def _block(translator: HTML5Translator, node: nodes.math_block) -> None:
    number = f'<span class="eqno">({node["number"]})</span>' if node.get("number") else ""
    named: list[str] = node.get("ids", [])
    ids = "".join(f'<span id="{identifier}"></span>' for identifier in named)
    equation = convert(node.astext(), display="block")
    translator.body.append(f'{ids}<div class="math" role="math">{number}{equation}</div>')
    raise nodes.SkipNode


def setup(app: Sphinx) -> ExtensionMetadata:
    """Register the renderer under the name ``mathml``."""
    app.add_html_math_renderer(
        "mathml", inline_renderers=(_inline, None), block_renderers=(_block, None)
    )
    return {"version": "1", "parallel_read_safe": True, "parallel_write_safe": True}
