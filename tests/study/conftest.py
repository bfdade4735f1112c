from __future__ import annotations

from pathlib import Path

import pytest
from study_files import StudyFiles


@pytest.fixture
def files(tmp_path: Path) -> StudyFiles:
    return StudyFiles(tmp_path)
