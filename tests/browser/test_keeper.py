"""A keeper with a phone: counts go up once each through cut wifi, a killed server, a lost reply and a nervous thumb."""

import time
from collections.abc import Callable
from typing import Any

from intake.app.access import devices, pin_sign_in
from intake.app.commands import count_animals
from intake.app.farm_folder import check_house
from intake.ledger import Movement, Record
from tests.browser.conftest import Open, Server


def tap(page: Any, batch: str = "S1-01", head: str = "dead", times: int = 1) -> None:
    """Open the count page of a batch, tap a stepper and save."""
    page.wait_for_selector(f"#batch:has-text('{batch}')")
    for _ in range(times):
        page.tap(f"[data-head={head}] .more")
    page.tap("#save")


def open_count(page: Any, server: Server, batch: str = "S1-01") -> int:
    """Open the count page, with the headcount the phone knows; gives that of the books."""
    alive = server.alive(batch)
    page.goto(f"{server.base}/c#{batch}")
    page.wait_for_selector(f"#stand:has-text('Q1: {alive} alive on record')")
    return alive


def cut(page: Any, server: Server) -> None:
    """Cut the wifi, and let the browser know of it as a phone would."""
    server.wifi.cut()
    page.context.set_offline(True)


def restore(page: Any, server: Server) -> None:
    """Bring it back."""
    server.wifi.restore()
    page.context.set_offline(False)


def until(so: Callable[[], bool], seconds: float = 10.0) -> None:
    """Wait for something the page shows in a property; a function sent into the page would break its own policy (no eval)."""
    end = time.monotonic() + seconds
    while not so():
        assert time.monotonic() < end, f"not so after {seconds} s"
        time.sleep(0.05)


def saved(page: Any) -> None:
    """Wait until the page says that all is saved."""
    page.wait_for_selector("#state.saved:has-text('Saved')", timeout=15000)


def test_counts_go_up_and_can_be_undone(visit: Open, server: Server) -> None:
    """No secure context, no service worker: the page still makes its keys, saves and takes back."""
    page = visit()
    alive = open_count(page, server)
    assert page.evaluate("[isSecureContext, 'serviceWorker' in navigator, typeof crypto.randomUUID]") == [
        False,
        False,
        "undefined",
    ]
    tap(page, times=3)
    saved(page)
    assert server.alive() == alive - 3
    page.tap("#recent button:has-text('Undo')")
    page.wait_for_selector("#recent li:has-text('undone')")
    saved(page)
    assert server.alive() == alive


def test_wifi_dies_and_returns(visit: Open, server: Server) -> None:
    """Three counts without wifi, one for a batch never opened before in a new tab; the tab closed; all arrive once."""
    page = visit()
    alive = open_count(page, server)
    context, other_alive = page.context, server.alive("S1-02")
    cut(page, server)
    tap(page, times=2)
    page.wait_for_selector("#state.waiting:has-text('1 waiting')")
    tap(page, head="missing")
    page.wait_for_selector("#state.waiting:has-text('2 waiting')")
    assert f"{alive - 3} after counts waiting" in (page.text_content("#stand") or "")
    other = context.new_page()
    other.goto(f"{server.base}/c#S1-02")  # the shell from the browser's cache, the batch from the fragment
    other.tap("#places label:has-text('Q1')")  # ten of it wait on the dock, so the place must be said
    tap(other, "S1-02")
    other.wait_for_selector("#state.waiting:has-text('3 waiting')")
    other.close()
    page.close()
    assert (server.alive(), server.alive("S1-02")) == (alive, other_alive)
    back = context.new_page()
    restore(back, server)
    back.goto(f"{server.base}/c")
    saved(back)
    assert (server.alive(), server.alive("S1-02")) == (alive - 3, other_alive - 1)


def test_the_server_is_killed_and_comes_back(visit: Open, server: Server) -> None:
    """A power cut at the desk: the phone keeps what was tapped and sends it by itself when the server is back."""
    page = visit()
    alive = open_count(page, server)
    tap(page)
    saved(page)
    server.kill()
    tap(page, times=4)
    page.wait_for_selector("#state.waiting:has-text('no connection')")
    server.start()
    saved(page)
    assert server.alive() == alive - 5


def test_a_reply_lost_after_the_books_were_written_counts_once(visit: Open, server: Server) -> None:
    """The worst moment: recorded, but the phone never heard of it."""
    page = visit()
    alive = open_count(page, server)
    lost: list[int] = []

    def lose(route: Any) -> None:
        # The driver's own fetch does not know the farm's name: it is led to the loopback, with the name kept in Host.
        address = route.request.url.replace(server.base, server.loopback)
        headers = route.request.headers | {"host": server.base.removeprefix("http://")}
        lost.append(route.fetch(url=address, headers=headers).status)
        route.abort()

    page.route("**/api/count", lose, times=1)
    tap(page, times=5)
    page.wait_for_selector("#state.waiting")
    saved(page)
    assert lost == [201]
    assert server.alive() == alive - 5


def test_a_double_tap_counts_once(visit: Open, server: Server) -> None:
    """Wet gloves tap twice."""
    page = visit()
    alive = open_count(page, server)
    page.tap("[data-head=dead] .more")
    page.evaluate("document.getElementById('save').click(); document.getElementById('save').click()")
    saved(page)
    assert page.locator("#recent li").count() == 1
    assert server.alive() == alive - 1


def test_a_refused_count_stays_in_sight(visit: Open, server: Server) -> None:
    """More dead than stand there: the refusal is shown with the numbers until somebody has read it."""
    page = visit()
    alive = open_count(page, server)
    page.fill("#n-dead", "1000")
    page.tap("#save")
    page.wait_for_selector("#save:has-text('sure? Tap again')")
    page.tap("#save")
    page.wait_for_selector("#state.alert:has-text('1 not accepted')")
    assert str(alive) in (page.text_content("#refusals") or "")
    page.reload()
    page.wait_for_selector("#refusals li")
    page.tap("#refusals button")
    page.wait_for_selector("#refusals", state="hidden")
    assert server.alive() == alive


def test_the_second_tap_works_without_wifi(visit: Open, server: Server) -> None:
    """Far more dead than usual, asked on the phone while it is cut off: the second tap is the reason that goes up with it."""
    page = visit()
    alive = open_count(page, server)
    lost = alive // 4 + 6
    cut(page, server)
    page.fill("#n-dead", str(lost))
    page.tap("#save")
    page.wait_for_selector("#save.sure:has-text('sure? Tap again')")
    assert page.locator("#queue li").count() == 0
    assert page.locator("#save").evaluate("one => one.getBoundingClientRect().height") >= 48
    page.tap("#save")
    page.wait_for_selector("#queue li")
    restore(page, server)
    saved(page)
    assert page.locator("#refusals li").count() == 0
    assert server.alive() == alive - lost
    house = server.house()
    try:
        reasons = [
            str(one.payload["reason"]) for one in house.entries() if isinstance(one, Record) and one.kind == "despite"
        ]
    finally:
        house.books.close()
    assert reasons == ["counted twice on the phone"]


def test_a_rule_asked_after_the_wifi_came_back_is_answered_by_one_tap(visit: Open, server: Server) -> None:
    """Counted offline while others fell there: too many by what stands now, asked by the board, answered with one large tap."""
    page = visit()
    alive = open_count(page, server)
    cut(page, server)
    tap(page, times=alive // 4)
    house = server.house()
    try:
        count_animals.count(
            house, "S1-01", "Q1", count_animals.Count(dead=alive // 4), despite="pump stood still overnight"
        )
    finally:
        house.books.close()
    restore(page, server)
    page.wait_for_selector("#refusals button.sure")
    assert server.alive() == alive - alive // 4
    assert page.locator("#refusals button.sure").evaluate("one => one.getBoundingClientRect().height") >= 48
    page.tap("#refusals button.sure")
    saved(page)
    assert page.locator("#refusals li").count() == 0
    assert server.alive() == alive - 2 * (alive // 4)


def test_a_signed_out_phone_keeps_its_counts(visit: Open, server: Server) -> None:
    """The device was ended while counts waited: they stay, the page asks to sign in, and then they go up."""
    from intake.app.access import devices

    page = visit()
    alive = open_count(page, server)
    cut(page, server)
    tap(page, times=2)
    house = server.house()
    for device in devices.devices(house):
        if device.state == "open":
            devices.revoke(house, device.id)
    house.books.close()
    restore(page, server)
    page.wait_for_selector("#state.alert:has-text('Sign in to send them')", timeout=15000)
    assert server.alive() == alive
    page.goto(server.invitation("ben"))
    page.tap("main button")
    page.wait_for_url(f"{server.base}/")
    page.goto(f"{server.base}/c#S1-01")
    saved(page)
    assert server.alive() == alive - 2


def test_a_photo_from_the_phone_is_kept(visit: Open, server: Server) -> None:
    """Made smaller on the phone, sent when it can be, and shown on the batch's page."""
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (2400, 1800), (10, 80, 90)).save(out, "JPEG")
    page = visit()
    open_count(page, server)
    cut(page, server)
    page.set_input_files("#photo", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()})
    page.wait_for_selector("#queue li:has-text('Photo of S1-01')")
    restore(page, server)
    saved(page)
    page.goto(f"{server.base}/batches/S1-01")
    photo = page.locator(".photos img")
    photo.scroll_into_view_if_needed()
    assert photo.evaluate("image => image.decode().then(() => image.naturalWidth)") == 1600


def test_a_browser_without_script_counts_too(visit: Open, server: Server) -> None:
    """A plain form with a hidden key."""
    page, alive = visit(java_script_enabled=False), server.alive()
    page.goto(f"{server.base}/c#S1-01")
    page.click("text=Count with a plain form")
    page.select_option("[name=where]", "S1-01@Q1")
    page.fill("[name=dead]", "6")
    page.click("main button")
    page.wait_for_url("**/batches/S1-01")
    assert "6 dead of S1-01" in (page.text_content("main") or "")
    assert server.alive() == alive - 6


def test_targets_are_large_enough_for_gloves(visit: Open, server: Server) -> None:
    """At least 48 px in both directions for whatever is tapped to count."""
    page = visit()
    open_count(page, server)
    sizes = page.eval_on_selector_all(
        ".stepper button, #save, .acts .button",
        "found => found.map(one => one.getBoundingClientRect()).map(box => Math.min(box.width, box.height))",
    )
    assert len(sizes) >= 15
    assert min(sizes) >= 48


def test_a_clock_set_back_does_not_send_an_undo_before_its_count(visit: Open, server: Server) -> None:
    """Without wifi: counted, the phone's clock goes back two hours, taken back; both go up, in the order of the thumb."""
    page = visit()
    alive = open_count(page, server)
    cut(page, server)
    tap(page, times=2)
    page.evaluate("{ const real = Date.now; Date.now = () => real() - 7200000; }")
    page.tap("#recent button:has-text('Undo')")
    page.wait_for_selector("#queue li:has-text('Undo')")
    restore(page, server)
    page.wait_for_selector("#recent li:has-text('undone')")
    page.wait_for_selector("#queue", state="hidden")
    page.wait_for_selector("#state:has-text('clock is 120 minutes off')")
    assert page.locator("#refusals li").count() == 0
    assert server.alive() == alive
    house = server.house()
    try:
        assert check_house(house) == []
    finally:
        house.books.close()


def test_a_clock_put_right_by_years_loses_no_count(visit: Open, server: Server) -> None:
    """A phone woke up in 1971, counted, and was told the time when the wifi came: the count is minutes old, not years."""
    page = visit()
    alive = open_count(page, server)
    cut(page, server)
    page.evaluate("window.real = Date.now; Date.now = () => 31536000000 + performance.now()")
    tap(page)
    page.evaluate("Date.now = window.real")
    restore(page, server)
    saved(page)
    assert server.alive() == alive - 1
    house = server.house()
    try:
        last = [entry for entry in house.entries() if isinstance(entry, Movement)][-1]
        assert last.target == "dead"
        assert (house.now - last.happened_at).total_seconds() < 600
    finally:
        house.books.close()


def shared_tablet(visit: Open, server: Server) -> Any:
    """Join a tablet that everybody uses."""
    house = server.house()
    try:
        for person, pin in (("ben", "271828"), ("cleo", "161803")):
            if person not in pin_sign_in.person_pins(house):
                pin_sign_in.set_pin(house, person, pin)
        _, code = devices.invite(house, "ada", shared=True)
    finally:
        house.books.close()
    page = visit("")
    page.goto(f"{server.base}/join/{code}")
    page.click("main button")
    page.wait_for_url("**/sign-in")
    return page


def sign_in(page: Any, server: Server, person: str, pin: str) -> None:
    """Sign in by name and PIN."""
    page.goto(f"{server.base}/sign-in")
    page.check(f"[name=person][value={person}]")
    page.fill("[name=pin]", pin)
    page.click("main form button")
    page.wait_for_url("**/work*")


def test_two_tablets_with_one_pin_count_without_wifi(visit: Open, server: Server) -> None:
    """One person signed in on two shared devices, both cut off, both counting the same vat: everything arrives once."""
    tablets = [shared_tablet(visit, server) for _ in range(2)]
    for page in tablets:
        sign_in(page, server, "ben", "271828")
        alive = open_count(page, server)
    server.wifi.cut()
    for number, page in enumerate(tablets, start=1):
        page.context.set_offline(True)
        for _ in range(2):
            tap(page, times=number)
    server.wifi.restore()
    for page in tablets:
        page.context.set_offline(False)
    for page in tablets:
        saved(page)
        assert page.locator("#refusals li").count() == 0
    assert server.alive() == alive - 2 - 4


def test_what_somebody_left_waiting_holds_nobody_up(visit: Open, server: Server) -> None:
    """Ben counted without wifi and went; Cleo's count goes up at once, Ben's when he signs in again."""
    page = shared_tablet(visit, server)
    sign_in(page, server, "ben", "271828")
    alive = open_count(page, server)
    page.route("**/api/count", lambda route: route.abort())
    tap(page, times=2)
    page.wait_for_selector("#queue li")
    page.unroute("**/api/count")
    sign_in(page, server, "cleo", "161803")
    page.goto(f"{server.base}/c#S1-01")
    page.wait_for_selector("#state:has-text('ben must sign in')")
    assert server.alive() == alive
    tap(page)
    page.wait_for_selector("#recent li:has-text('1 dead'):has-text('sent')")
    assert server.alive() == alive - 1
    sign_in(page, server, "ben", "271828")
    page.goto(f"{server.base}/c#S1-01")
    saved(page)
    assert server.alive() == alive - 3


def test_the_last_count_is_corrected_and_all_alive_is_counted(visit: Open, server: Server) -> None:
    """Correct undoes the count and puts its numbers back into the form; the sum says what is left."""
    page = visit("ben")
    page.goto(f"{server.base}/c#S1-02")
    page.wait_for_selector("#places input")
    before = server.alive("S1-02")
    page.check("#places input[value=Q1]")
    page.wait_for_selector("#stand:has-text('alive')")
    page.fill("#n-dead", "3")
    page.dispatch_event("#n-dead", "input")
    assert "left" in (page.text_content("#sum") or "")
    page.click("#save")
    page.wait_for_selector("#state.saved")
    page.locator("#recent button:has-text('Correct')").first.click()
    until(lambda: page.input_value("#n-dead") == "3")
    page.fill("#n-dead", "2")
    page.dispatch_event("#n-dead", "input")
    page.click("#save")
    page.wait_for_selector("#recent li:has-text('2 dead'):has-text('sent')")
    assert server.alive("S1-02") == before - 2


def test_a_refusal_on_the_round_stays_until_the_number_is_mended(visit: Open, server: Server) -> None:
    """Typed and tapped at once: what the rules are asked as the field is left may not wipe what saving said."""
    page = visit()
    page.goto(f"{server.base}/round")
    form = page.locator("form[action='/count']").first
    batch = form.locator("[name=where]").input_value().partition("@")[0]
    alive = server.alive(batch)
    form.locator("[name=dead]").fill("999999")
    form.locator("button").tap()
    form.locator("[role=alert]:has-text('999999')").wait_for()
    page.wait_for_timeout(1500)
    assert form.locator("[role=alert]").count() == 1
    assert server.alive(batch) == alive
    form.locator("[name=dead]").fill("1")
    form.locator("button").tap()
    page.wait_for_selector(f"main :text('1 dead of {batch}')")
    page.wait_for_timeout(1000)
    page.goto(f"{server.base}/round")
    assert not page.locator("text=Counted before").count()
    assert server.alive(batch) == alive - 1
