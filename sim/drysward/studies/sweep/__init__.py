"""Many scenarios that differ in a few keys, run in chunks that survive the machine."""

# Says which sweep a folder holds. Here for those who ask for it and nothing else of a sweep.
MANIFEST = "sweep.json"


def chunk_name(chunk: int) -> str:
    """File of the points of a chunk."""
    return f"chunk-{chunk:06d}.nc"
