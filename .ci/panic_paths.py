"""Whether panic machinery can be reached from a function, by the call graph.

Works on a plain mapping address -> function (`name`, `names`, `calls`, `indirect`), so
that a synthetic one can be handed in. A call through a pointer is never taken as harmless:
when one can be reached it is reported as what it is.
"""

import re

# Panics, their handler, and the formatting that only they would bring in.
MACHINERY = re.compile(
    r"core::panicking|rust_begin_unwind|core::fmt|core::(option|result)::\w*failed"
    r"|slice_index_fail|slice_error_fail|_defmt_panic|defmt_default_panic"
)


def is_machinery(function):
    """Whether a function is panic machinery."""
    return any(map(MACHINERY.search, function.names))


def path(functions, root):
    """Shortest chain of functions from `root` to panic machinery or to a call through a
    pointer; empty when there is none. The last part says which it is."""
    came_from, queue = {root: None}, [root]
    for address in queue:
        function = functions[address]
        if is_machinery(function):
            return chain(functions, came_from, address)
        if function.indirect:
            call = f"through a pointer: {function.indirect[0]}"
            return [*chain(functions, came_from, address), call]
        for call in sorted(function.calls):
            if call not in came_from:
                came_from[call] = address
                queue.append(call)
    return []


def chain(functions, came_from, address):
    """Names on the way to `address`."""
    names = []
    while address is not None:
        names.insert(0, functions[address].name)
        address = came_from[address]
    return names
