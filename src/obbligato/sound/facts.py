"""What can be said of a sound file before listening to the music in it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SourceFacts:
    """Facts about a file as received, in the shape of `source` in `listen --json`.

    Attributes
    ----------
    bit_depth
        Bits a sample of linear PCM has; None for lossy files.
    frames
        Samples per channel as a correct decoder presents the file.
    lead_silence_s
        Time before the first sound.
    encoder_delay_samples
        Samples that the encoder put before the music: those the file declares (and a correct decoder removes),
        or those a file without such a declaration leaves in the sound; None where the format has none.
    clipped_samples
        Samples in runs at (or flat just under) full scale.
    warnings
        Sentences the player should read.
    """

    path: str
    sha256: str
    container: str
    codec: str
    sample_rate: int
    channels: int
    bit_depth: int | None
    duration_s: float
    frames: int
    lead_silence_s: float
    encoder_delay_samples: int | None
    integrated_lufs: float
    true_peak_dbtp: float
    clipped_samples: int
    warnings: tuple[str, ...]
