"""Many scenarios that differ in a few keys, run in chunks that survive the machine."""

# Files beside the chunks. Here for those who need nothing else of a sweep.
MANIFEST = "sweep.json"
FRONT = "front.csv"


def chunk_name(chunk: int) -> str:
    """File of the points of a chunk."""
    return f"chunk-{chunk:06d}.nc"
