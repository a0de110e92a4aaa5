"""The facts about a file as it was received."""

from __future__ import annotations

from pathlib import Path

from obbligato.sound.audio import Audio
from obbligato.sound.facts import SourceFacts
from obbligato.sound.faults import channel_faults, delay_faults, end_faults, form_faults, head_faults, level_faults
from obbligato.sound.files import sha256_of
from obbligato.sound.formats import file_format
from obbligato.sound.loudness import integrated_lufs
from obbligato.sound.measures import clipped_samples, lead_silence_s
from obbligato.sound.mp3 import missing_bytes
from obbligato.sound.peaks import true_peak_dbtp


def source_facts(path: Path, audio: Audio) -> SourceFacts:
    """Everything that can be said of a file before listening to the music in it.

    Parameters
    ----------
    audio
        What `read_audio` gives for the file.

    Raises
    ------
    InputError
        When the file is no sound file.
    """
    path = Path(path)
    form = file_format(path)
    lufs, peak_dbtp, clipped = integrated_lufs(audio), true_peak_dbtp(audio), clipped_samples(audio)
    lead_s = lead_silence_s(audio)
    warnings = [
        *delay_faults(form, audio.sr),
        *level_faults(audio, clipped=clipped, lufs=lufs, true_peak_dbtp=peak_dbtp),
        *channel_faults(audio),
        *form_faults(audio, form),
        *head_faults(lead_s, audio.sr, audio.duration_s),
        *end_faults(audio),
    ]
    if form.container == "mp3" and missing_bytes(path.read_bytes()):
        warnings.append("The MP3 breaks off in the middle of its last frame; ask whether the ending is missing.")
    return SourceFacts(
        path=str(path),
        sha256=sha256_of(path),
        container=form.container,
        codec=form.codec,
        sample_rate=audio.sr,
        channels=audio.channels,
        bit_depth=form.bit_depth,
        duration_s=audio.duration_s,
        frames=audio.n_samples,
        lead_silence_s=lead_s,
        encoder_delay_samples=form.encoder_delay_samples,
        integrated_lufs=lufs,
        true_peak_dbtp=peak_dbtp,
        clipped_samples=clipped,
        warnings=tuple(warnings),
    )
