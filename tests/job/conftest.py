import pytest

from obbligato.job.model import Brief, GuideRef, Job
from obbligato.job.store import JOB_FILE, JobFolder, now


@pytest.fixture
def folder(tmp_path):
    """A job folder with nothing in it but the job itself."""
    root = tmp_path / "job"
    root.mkdir()
    job = Job(
        created_at=now(),
        brief=Brief(title="Night Ferry"),
        instrument="Flugelhorn in Bb",
        guide=GuideRef(received="guide/received/a.wav", pcm="guide/guide.wav", sha256="0" * 64),
    )
    (root / JOB_FILE).write_text(job.model_dump_json())
    return JobFolder(root, job)
