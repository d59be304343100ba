"""The page of certificates that would be stopped today."""

from __future__ import annotations

import re

from api.services.overview import stopped


def test_certificates_with_stops_are_listed_page_by_page_and_those_of_the_api(
    visitor, keys, monkeypatch
):
    monkeypatch.setattr(stopped, "MOST_LOOKED_AT", 40)
    assert 'href="/stops"' in visitor.get("/").text
    found, address = [], "/stops"
    while address:
        page = visitor.get(address).text
        table = page.partition("<tbody>")[2].partition("</tbody>")[0]
        found += re.findall(r'<th scope="row"><a class="id"[^>]*>([^<]+)</a>', table)
        following = re.search(r'href="(/stops[^"]*)">Look at the ones', page)
        address = following and following[1]
    assert "All were looked at." in page
    wanted, address = [], "/v1/certificates?stopped=true"
    while address:
        answer = visitor.client.get(address, headers=keys.headers()).get_json()
        wanted += [one["certificate"] for one in answer["items"]]
        address = answer["next"]
    assert found
    assert [one.partition(" rev. ")[0] for one in found] == wanted
