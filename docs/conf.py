"""How the pages are built: `python -m sphinx -W --keep-going -b html docs docs/_build/html`, from the top of the repository."""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

import raylab

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE / "_ext"))

project, author, release = "raylab", "the raylab authors", raylab.__version__
extensions = [
    "myst_nb",
    "sphinx.ext.autodoc",
    "sphinx.ext.autosummary",
    "docstrings",
    "numpydoc",
    "checks",
    "commands",
    "definitions",
    "mathml",
]
exclude_patterns = ["_build", "_ext", "_templates"]
templates_path = ["_templates"]
html_math_renderer = "mathml"
myst_enable_extensions = ["colon_fence", "attrs_inline", "deflist", "dollarmath"]
myst_heading_anchors = 3
numpydoc_show_class_members = False
autodoc_typehints = "none"  # the docstrings say what each argument is
default_role = "py:obj"

# Notebooks run once and are kept until they or the library change.
_SOURCES = sorted(path for path in Path(raylab.__file__).parent.rglob("*") if path.suffix in (".py", ".toml", ".csv", ".yml"))
_CODE = hashlib.sha256(b"".join(path.read_bytes() for path in _SOURCES)).hexdigest()[:16]
nb_execution_mode = "cache"
nb_execution_cache_path = str(HERE / "_build" / f"notebooks-{_CODE}")
nb_execution_timeout = 600
nb_execution_raise_on_error = True

html_theme = "pydata_sphinx_theme"
html_title = "raylab"
html_sidebars = {page: [] for page in ("index", "install", "gallery")}  # pages without pages beside them
html_context = {"default_mode": "auto"}
html_static_path = ["_static"]
html_css_files = ["raylab.css"]
html_show_sourcelink = False
html_copy_source = False
html_theme_options = {
    "logo": {"text": "raylab"},
    "header_links_before_dropdown": 7,
    "navbar_end": ["theme-switcher"],
    "footer_start": ["copyright"],
    "footer_end": [],
    "secondary_sidebar_items": ["page-toc"],
    "show_toc_level": 2,
    "show_prev_next": False,
}
