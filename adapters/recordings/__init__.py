"""How do readings of a past span come from files and go into them? CSV, SenML JSON, Parquet."""

from adapters.recordings.read import read_recordings
from adapters.recordings.recording import BadLine, Recording, RecordingRefused
from adapters.recordings.write import write_csv, write_stretches

__all__ = ["BadLine", "Recording", "RecordingRefused", "read_recordings", "write_csv", "write_stretches"]
