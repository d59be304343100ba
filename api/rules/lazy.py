"""Names of a package that are imported when they are first asked for.

Choice: the class of the package's module is changed, which Python offers for this purpose (data
model, "Customizing module attribute access"). A function `__getattr__` would not do, because some
functions have the name of their module (`decide`): importing the module would hide the function.

Not checked: that the modules have these names; a test asks for each.
"""

import sys
from collections.abc import Mapping
from importlib import import_module
from types import ModuleType
from typing import Any


def give(package: str, modules: Mapping[str, str]) -> None:
    """Let a package have the names of its modules.

    Parameters
    ----------
    package : str
        Name of the package, which is being imported.
    modules : mapping of str to str
        The names that each of its modules gives, with spaces between them; a module with a point
        in its name is another package's.
    """
    module_of = {name: module for module, names in modules.items() for name in names.split()}

    class Face(ModuleType):
        def __getattr__(self, name: str) -> Any:
            if name not in module_of:
                raise AttributeError(f"module {package!r} has no attribute {name!r}")
            module = module_of[name]
            whole = module if "." in module else f"{package}.{module}"
            found = getattr(import_module(whole), name)
            setattr(self, name, found)
            return found

        def __setattr__(self, name: str, value: Any) -> None:
            # The import system puts a module here when it has been imported.
            if isinstance(value, ModuleType) and module_of.get(name) == name:
                value = getattr(value, name)
            super().__setattr__(name, value)

        def __dir__(self) -> list[str]:
            return sorted({*super().__dir__(), *module_of})

    sys.modules[package].__class__ = Face
