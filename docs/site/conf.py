"""How the documentation becomes a site. `make docs` builds it; links are strict: a warning is an error."""

from __future__ import annotations

from firstcrank import __version__

project = "firstcrank"
copyright = "the firstcrank contributors, MIT licence"
release = version = __version__
extensions = ["myst_parser"]
root_doc = "docs/index"
source_suffix = {".md": "markdown"}
include_patterns = [
    "docs/**.md",
    "hardware_notes/**.md",
    "README.md",
    "DEVELOPERS.md",
    "CONTRIBUTING.md",
    "SECURITY.md",
    "CHANGELOG.md",
]
myst_enable_extensions = ["colon_fence", "deflist"]
myst_heading_anchors = 4
suppress_warnings = ["toc.not_included"]  # a new page is built and checked before somebody gives it its place in docs/index.md
html_theme = "alabaster"
html_title = "firstcrank"
html_theme_options = {
    "description": "Proves the key-switch feed of a freshly wired electronic diesel while it cranks",
    "fixed_sidebar": True,
    "show_powered_by": False,
}
html_show_sourcelink = False
html_use_opensearch = ""
