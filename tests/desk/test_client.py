"""The client's side of the desk over HTTP, on a job whose song map and line are written by hand."""

import json

import mido
import pytest
from starlette.testclient import TestClient

from obbligato.desk.app import make_app
from obbligato.desk.client_data import client_remarks, client_view
from obbligato.desk.delivery_data import delivery_view
from obbligato.desk.deps import Desk
from obbligato.job.delivery import Pack, keep_proof, proved_pack
from obbligato.job.keys import choice_key
from obbligato.job.mapping import FINDINGS, LISTENER, song_map, song_map_to_json
from obbligato.job.model import Brief, GuideRef, Job, Round, TakeRef
from obbligato.job.proof import AudioFacts, Check
from obbligato.job.store import JOB_FILE, JobFolder, now
from obbligato.job.writing import add_line
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.spans import ChordSpan, SectionSpan
from obbligato.page.review_reply import SectionReply, reply_text
from obbligato.sound.facts import SourceFacts

TOKEN = "t" * 24
SHA = "0" * 64
BAR_S = 2.0
"""120 beats a minute in 4/4: a bar lasts two seconds, and bar 1 starts at 1 s."""


def song() -> SongMap:
    end_s = 1.0 + 12 * BAR_S
    return SongMap(
        source=SourceFacts(
            "guide.wav",
            SHA,
            "WAV",
            "PCM_24",
            48000,
            2,
            24,
            end_s,
            round(48000 * end_s),
            1.0,
            None,
            -14.0,
            -1.0,
            0,
            (),
        ),
        tempo=Tempo(120.0, True, 0.95, 5.0, 0.0, (), ()),
        meter=MeterFinding(4, "quarter", 0.9),
        count_in=None,
        grid=GridFinding(1.0, tuple(1.0 + i / 2 for i in range(48)), tuple(1.0 + 2 * i for i in range(12))),
        tuning=Tuning(440.0, 0.0),
        keys=(),
        chords=(ChordSpan(1.0, end_s, "C:maj"),),
        sections=tuple(SectionSpan(1.0 + 8 * i, 9.0 + 8 * i, label) for i, label in enumerate("ABC")),
        voice=(),
        openings=(),
    )


@pytest.fixture
def job(tmp_path):
    """A mapped job of three sections of four bars; the line plays in A and B."""
    root = tmp_path / "jobs" / "ferry"
    (root / "guide").mkdir(parents=True)
    guide = GuideRef(received="guide/received/a.wav", pcm="guide/guide.wav", sha256=SHA)
    made = Job(created_at=now(), brief=Brief(title="Night Ferry"), instrument="Flugelhorn in Bb", guide=guide)
    (root / JOB_FILE).write_text(made.model_dump_json())
    findings = {"guide_sha256": SHA, "listener": LISTENER, "findings": song_map_to_json(song())}
    (root / FINDINGS).write_text(json.dumps(findings))
    folder = JobFolder.open(root)
    midi, track = mido.MidiFile(ticks_per_beat=480), mido.MidiTrack()
    midi.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    for wait in (960, 6720):
        # 120 a minute: the second beat of bar 1 is 3 beats, 1.5 s, in: inside A; the next 16 beats, 8 s, later: in B.
        track.append(mido.Message("note_on", note=67, velocity=80, time=wait + 480))
        track.append(mido.Message("note_off", note=67, time=480))
    midi.save(tmp_path / "line.mid")
    add_line(folder, tmp_path / "line.mid", start="guide")
    return folder


@pytest.fixture
def desk(job):
    return Desk.at(job.root.parent, token=TOKEN)


@pytest.fixture
def client(desk):
    return TestClient(make_app(desk))


def sent(folder, number=1, version=1):
    """A round that was sent, as `make_review` leaves it."""
    round_ = Round(
        number=number,
        folder=f"approval/round_{number:02d}",
        line_version=version,
        fingerprint=f"f{number}",
        sent_at=now(),
    )
    folder.save("review", "sent", rounds=(*folder.job.rounds, round_))


def answer(*sections, number=1):
    return reply_text(title="Night Ferry", version=1, fingerprint=f"f{number}", name="Ida", answers=sections)


ASKS = (
    SectionReply("A", "yes"),
    SectionReply("B", "change", "Less.\n[bar 6, 0:11.0] too busy\n[bar 8, 0:15.0] hold it"),
)


def test_the_answer_stands_on_the_bars_of_its_section(client, job):
    """Bars by hand: A is 1 to 4, B 5 to 8, C 9 to 12, each bar two seconds from 1 s on."""
    sent(job)
    view = client.post("/api/jobs/ferry/reply", json={"text": answer(*ASKS)}).json()
    first, second = view["rounds"][0]["answers"]
    assert (first["words"], first["first_bar"], first["last_bar"], first["remarks"]) == ("yes", 1, 4, [])
    assert (second["words"], second["first_bar"], second["last_bar"]) == ("change this", 5, 8)
    assert [(remark["bar"], remark["text"]) for remark in second["remarks"]] == [
        (None, "Less."),
        (6, "too busy"),
        (8, "hold it"),
    ]
    assert view["rounds"][0]["sentence"] == "Ida asks for changes in B."
    assert (view["used"], view["included"], view["beyond"]) == (1, 2, 0)
    assert not view["should_send"] and "version 2" in view["sentence"]


def test_the_chart_gets_what_was_said_on_its_bars(client, job):
    sent(job)
    client.post("/api/jobs/ferry/reply", json={"text": answer(*ASKS)})
    folder = JobFolder.open(job.root)
    remarks = [(r.severity, r.first_bar, r.last_bar, r.text) for r in client_remarks(folder, song_map(folder))]
    assert remarks == [
        ("note", 1, 4, "Ida on A: yes"),
        ("look", 5, 8, "Ida on B: please change this: “Less.”"),
        ("look", 6, 6, "Ida: “too busy”"),
        ("look", 8, 8, "Ida: “hold it”"),
    ]


def test_an_answer_of_a_section_that_is_gone_is_shown_without_bars(client, job):
    sent(job)
    view = client.post("/api/jobs/ferry/reply", json={"text": answer(SectionReply("Z", "leave out", "no"))}).json()
    gone = view["rounds"][0]["answers"][0]
    assert (gone["first_bar"], gone["last_bar"], gone["remarks"][0]["text"]) == (None, None, "no")


def test_an_answer_can_come_as_a_file(client, job):
    sent(job)
    arrived = client.put("/api/uploads?name=answer.txt", content=answer(*ASKS).encode()).json()
    body = {"upload": arrived["upload"]}
    assert client.post("/api/jobs/ferry/reply", json=body).json()["rounds"][0]["state"] == "changes"
    assert client.post("/api/jobs/ferry/reply", json=body).status_code == 422


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({"text": "yes to all"}, "bad_input"),
        ({"text": answer(*ASKS, number=7)}, "bad_input"),
        ({"upload": "u-0"}, "bad_input"),
        ({}, "invalid"),
        ({"text": "x", "upload": "y"}, "invalid"),
        ({"text": answer(SectionReply("A", "yes", "SIGN")).replace("SIGN", "\\ud800")}, "bad_input"),
        ({"text": "\ud800"}, "invalid"),
    ],
)
def test_what_is_no_answer_is_refused_and_nothing_changed(client, job, body, code):
    sent(job)
    before = (job.root / JOB_FILE).read_bytes()
    sends_json = {"Content-Type": "application/json"}
    response = client.post("/api/jobs/ferry/reply", content=json.dumps(body), headers=sends_json)
    assert (response.status_code, response.json()["error"]["code"]) == (422, code)
    assert (job.root / JOB_FILE).read_bytes() == before


def test_rounds_beyond_what_was_agreed_are_told(client, job):
    job.save("new", "x", brief=job.job.brief.model_copy(update={"rounds_included": 1}))
    for number in (1, 2):
        sent(job, number)
        client.post("/api/jobs/ferry/reply", json={"text": answer(*ASKS, number=number)})
        job = JobFolder.open(job.root)
    view = client.get("/api/jobs/ferry/client").json()
    assert (view["used"], view["included"], view["beyond"]) == (2, 1, 1)
    assert "settle the price" in view["counter"][1]
    assert [round_["number"] for round_ in view["rounds"]] == [2, 1]


def test_nothing_is_sent_without_a_song_or_a_line(client, job):
    job.save("line", "x", lines=())
    refused = client.post("/api/jobs/ferry/review")
    assert (refused.status_code, refused.json()["error"]["code"]) == (409, "not_right")
    job.path(FINDINGS).unlink()
    assert "Listen to the guide" in client.get("/api/jobs/ferry/client").json()["sentence"]


def test_the_brief_is_changed_by_the_fields_that_are_sent(client, job):
    changed = client.patch("/api/jobs/ferry/brief", json={"approver": "Ida", "deadline": "2026-12-01"}).json()
    assert (changed["approver"], changed["deadline"], changed["title"]) == ("Ida", "2026-12-01", "Night Ferry")
    cleared = client.patch("/api/jobs/ferry/brief", json={"deadline": ""}).json()
    assert (cleared["approver"], cleared["deadline"]) == ("Ida", "")


@pytest.mark.parametrize(
    "body",
    [
        '{"layers": 0}',
        '{"titel": "x"}',
        '{"title": " "}',
        '{"fee": NaN}',
        '{"fee": 1e999}',
        json.dumps({"wishes": "x" * 20_001}),
    ],
)
def test_what_no_brief_can_hold_is_refused(client, body):
    response = client.patch("/api/jobs/ferry/brief", content=body, headers={"Content-Type": "application/json"})
    assert response.status_code == 422 and set(response.json()["error"]) == {"code", "message"}


def take(number):
    return TakeRef(
        number=number,
        file=f"takes/{number}.wav",
        sha256=f"{number:064d}",
        given_as="a.wav",
        sample_rate=48000,
        frames=48000,
        line_version=1,
        guide_sha256=SHA,
    )


def test_what_a_delivery_rests_on(desk, client, job):
    assert [step.about for step in delivery_view(desk, job).before if step.stops] == ["takes"]
    assert client.post("/api/jobs/ferry/delivery").status_code in {409, 422}
    job.save("takes", "x", takes=(take(1),))
    never_asked = delivery_view(desk, job)
    assert never_asked.can_deliver and not never_asked.needs_consent
    sent(job)
    waiting = delivery_view(desk, job)
    assert waiting.can_deliver and waiting.needs_consent
    refused = client.post("/api/jobs/ferry/delivery", json={"profile": {"treated": False}})
    assert refused.status_code == 409 and "deliver all the same" in refused.json()["error"]["message"]
    client.post("/api/jobs/ferry/reply", json={"text": answer(SectionReply("A", "yes"), SectionReply("B", "yes"))})
    assert not delivery_view(desk, JobFolder.open(job.root)).needs_consent


def test_a_stale_comp_is_told_and_does_not_stop(desk, job):
    job.save("takes", "x", takes=(take(1),), made=job.made("choose", "comp/comp_01", from_key="old"))
    comp = next(step for step in delivery_view(desk, job).before if step.about == "comp")
    assert not comp.ok and not comp.stops and "anew" in comp.sentence


def test_what_was_proved_is_there_after_a_restart(desk, job):
    facts = AudioFacts(
        "01_NightFerry_v1.wav", "the part, dry", 48000, 24, 1, 48000 * 25, -6.0, float("-inf"), None, None, SHA
    )
    pack = Pack(
        "delivery/delivery_01",
        "delivery/delivery_01.zip",
        1,
        ("01_NightFerry_v1.wav",),
        (facts,),
        (Check(True, "File 01 has 24 bits."),),
    )
    folder = job.path(pack.folder)
    folder.mkdir(parents=True)
    (folder / "01_NightFerry_v1.wav").write_bytes(b"sound")
    (folder / "checksums.txt").write_text(f"{SHA}  01_NightFerry_v1.wav\n")
    job.save("deliver", "x", made=job.made("deliver", pack.folder, from_key=choice_key(job)))
    assert not delivery_view(desk, job).packs[0].proofs_kept
    keep_proof(job, pack)
    assert proved_pack(job, job.job.made[-1]) == pack
    shown = delivery_view(Desk.at(job.root.parent, token=TOKEN), JobFolder.open(job.root)).packs[0]
    assert [check.sentence for check in shown.checks] == ["File 01 has 24 bits."]
    assert (shown.files[0].role, shown.files[0].sha256, shown.files[0].bytes) == ("the part, dry", SHA, 5)
    assert "LUFS" not in shown.files[0].facts and "48000 Hz, 24 bit, mono" in shown.files[0].facts


def test_hours_are_entered_and_taken_back(client):
    entered = client.post(
        "/api/jobs/ferry/hours", json={"stage": "takes", "minutes": 45, "what": "warming up"}
    ).json()
    assert {"stage": "takes", "minutes": 45.0} in entered["stages"]
    back = client.post(
        "/api/jobs/ferry/hours", json={"stage": "takes", "minutes": -45, "what": "not this job"}
    ).json()
    assert {"stage": "takes", "minutes": 0.0} in back["stages"]
    assert [entry["minutes"] for entry in back["entries"]] == [-45.0, 45.0]


@pytest.mark.parametrize(
    "body",
    [
        '{"stage": "takes", "minutes": 0}',
        '{"stage": "lunch", "minutes": 5}',
        '{"stage": "takes", "minutes": 1e5}',
        '{"stage": "takes", "minutes": NaN}',
    ],
)
def test_hours_that_cannot_be_are_refused(client, body):
    response = client.post("/api/jobs/ferry/hours", content=body, headers={"Content-Type": "application/json"})
    assert response.status_code == 422


def test_a_view_asks_for_no_listening(desk, job):
    """A job that is not mapped yet is shown as it is, at once."""
    job.path(FINDINGS).unlink()
    assert not client_view(desk, job).can_send
    assert not delivery_view(desk, job).can_deliver
