"""Reading a folder of procedures from the disk; what its files mean is in `assistant.core.library`."""

from assistant.loading.folder import (
    CAUTIONS_FILE,
    FINDINGS_FILE,
    LIKELIHOODS_FILE,
    ODDS_FILE,
    TERMS_FILE,
    load_folder,
    load_knowledge,
    load_library,
    load_odds,
)

__all__ = [
    "CAUTIONS_FILE",
    "FINDINGS_FILE",
    "LIKELIHOODS_FILE",
    "ODDS_FILE",
    "TERMS_FILE",
    "load_folder",
    "load_knowledge",
    "load_library",
    "load_odds",
]
