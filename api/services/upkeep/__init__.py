"""Is everything still whole: journal, verification, snapshots."""
