"""How the documentation is built: Markdown, equations as MathML, nothing from a network."""

import sys
from pathlib import Path

import bellmouth

sys.path.insert(0, str(Path(__file__).parent / "_ext"))

project = "Bellmouth"
copyright = "The Bellmouth authors"  # noqa: A001 - the name is Sphinx's
version = release = bellmouth.__version__

extensions = ["mathml", "myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
myst_enable_extensions = ["amsmath", "deflist", "dollarmath"]
myst_heading_anchors = 3
exclude_patterns = ["_build"]
nitpicky = True
autodoc_default_options = {"members": True, "undoc-members": True, "member-order": "bysource"}
autodoc_typehints_format = "short"
python_use_unqualified_type_names = True
# What is not ours has its own documentation, which this one does not fetch.
nitpick_ignore_regex = [("py:class", r"(collections\.abc|numpy|pathlib)\..*")]
napoleon_google_docstring = False
# The page for those who look at the sources is the repository itself.
html_show_sourcelink = False
html_theme = "furo"
html_title = f"Bellmouth {version}"
html_math_renderer = "mathml"
html_extra_path = ["finding.schema.json", "survey.schema.json"]
