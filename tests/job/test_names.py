import pytest

from obbligato.job.names import lint, pack_name, plain


@pytest.mark.parametrize(
    ("title", "expected"),
    [("Night Ferry", "NightFerry"), ("Où est la nuit?", "OuEstLaNuit"), ("don't go", "DontGo"), ("夜", "Song")],
)
def test_titles_become_plain_words(title, expected):
    assert plain(title) == expected


def test_pack_names_pass_their_own_lint():
    name = pack_name(1, "A / B: \\ final?", "Flugelhorn in B♭", version=3, suffix="48k24", extension="wav")
    assert name.startswith("01_") and name.endswith("_v3_48k24.wav")
    assert lint(pack_name(1, "Night Ferry", "Flugelhorn", version=3, suffix="48k24", extension="wav")) is None


@pytest.mark.parametrize("name", ["a b.wav", "Mix final.wav", "a.b.wav", "é.wav", "Track_FINAL.wav", "Audio1.wav"])
def test_bad_names_are_caught(name):
    assert lint(name)
