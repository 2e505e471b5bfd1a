"""How Sphinx builds the documentation: ``sphinx-build -W sim/docs build/docs``."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from generated import write_pages

import drysward

project = "drysward"
author = "the drysward developers"
release = version = drysward.__version__
extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.napoleon",
    "sphinx.ext.mathjax",
    "sphinx_click",
]
myst_enable_extensions = ["dollarmath", "deflist"]
myst_heading_anchors = 3
exclude_patterns = ["build"]
smartquotes = False  # quotes of TOML are copied
html_theme = "furo"
html_title = f"drysward {release}"
autodoc_typehints = "description"
autodoc_member_order = "bysource"
napoleon_google_docstring = False

write_pages(Path(__file__).parent / "generated")
