"""Many scenarios that differ in a few keys, run in chunks that survive the machine."""

# Here, so that reading a sweep does not load what describes and runs one.
MANIFEST = "sweep.json"
"""File beside the chunks: which sweep a folder holds."""
GRID, LATIN, SEQUENCE, INDICES = "grid", "latin hypercube", "sobol sequence", "sobol indices"
STAGE_NAMES = {
    "footprinting": "footprint",
    "footprint": "footprint",
    "wilt": "wilt",
    "dormancy": "dormant",
    "dormant": "dormant",
    "death": "dead",
    "dead": "dead",
}
"""What people call the stages -> their keys in a Dataset."""


def chunk_name(chunk: int) -> str:
    """File of the points of a chunk."""
    return f"chunk-{chunk:06d}.nc"
