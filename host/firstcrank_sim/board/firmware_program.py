"""The firmware's own program, loaded into this interpreter from the files that the install command copies to a board."""

from __future__ import annotations

import importlib
import importlib.util
import sys
from types import ModuleType

from firstcrank.board.files import PACKAGE, PORTABLE, firmware_folder
from firstcrank.errors import UsageError


def load(name: str) -> ModuleType:
    """The firmware module of that name ("app", "fold"). The files in PORTABLE are the host's, as on a board."""
    if PACKAGE not in sys.modules:
        folder = firmware_folder() / PACKAGE
        spec = importlib.util.spec_from_file_location(PACKAGE, folder / "__init__.py", submodule_search_locations=[str(folder)])
        if spec is None or spec.loader is None:
            raise UsageError(f"the firmware in {folder} cannot be loaded")
        package = importlib.util.module_from_spec(spec)
        sys.modules[PACKAGE] = package
        spec.loader.exec_module(package)
        for shared in PORTABLE:
            module = importlib.import_module(f"firstcrank.{shared}")
            sys.modules[f"{PACKAGE}.{shared}"] = module
            package.__dict__[shared] = module
    return importlib.import_module(f"{PACKAGE}.{name}")
