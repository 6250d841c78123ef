// SPDX-License-Identifier: Apache-2.0
// The poller on vehicles that speak OBDonUDS: data identifiers F4xx (SAE J1979-2).
#include "wire.hpp"

#include <algorithm>
#include <map>

#include <doctest/doctest.h>

#include "telltale/client/finder.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/client/reader.hpp"

using namespace telltale;
using namespace telltale::client;
using telltale::tests::ms;
using telltale::tests::sec;

TEST_CASE("values of an OBDonUDS vehicle are found and polled") {
    mimic::Options options;
    options.seed = 5;
    options.obd_on_uds = true;
    options.ecus = 2;
    options.habits.delay = 2 * ms;
    options.habits.spread = 2 * ms;
    mimic::Vehicle vehicle(options);
    Session session;
    tests::Wire wire(session, vehicle);
    Finder finder;
    session.run(finder, wire.now);
    REQUIRE(wire.run(wire.now + 10 * sec, [&] { return session.done(); }));
    REQUIRE(finder.found());
    REQUIRE(finder.on_uds());
    ReaderOptions reader_options;
    reader_options.ecus = finder.ecus();
    reader_options.on_uds = true;
    reader_options.support_only = true;
    Reader reader(finder.line(), reader_options);
    session.run(reader, wire.now);
    REQUIRE(wire.run(wire.now + 30 * sec, [&] { return session.done(); }));
    REQUIRE(reader.ecus().size() == 2);

    std::vector<Wanted> wanted;
    for (const EcuFacts& ecu : reader.ecus()) {
        CHECK(ecu.on_uds);
        for (unsigned pid = 1; pid < 256; ++pid)
            if (ecu.supported[1].test(pid))
                wanted.push_back({static_cast<std::uint8_t>(pid), ecu.id, 0});
    }
    REQUIRE(wanted.size() > 30);
    Poller poller(finder.line(), reader.ecus(), wanted);
    std::uint64_t samples = 0;
    std::uint64_t wrong = 0;
    std::map<std::pair<std::uint32_t, std::uint8_t>, std::uint64_t> by_entry;
    poller.on_sample = [&](const Sample& sample) {
        ++samples;
        ++by_entry[{sample.ecu.value, sample.pid}];
        // Each value stands behind its data identifier in what this ECU said last.
        std::vector<std::uint8_t> item = {0xF4, sample.pid};
        item.insert(item.end(), sample.data.begin(), sample.data.end());
        const auto said = std::find_if(wire.spoken.rbegin(), wire.spoken.rend(),
                                       [&](const auto& each) { return each.ecu == sample.ecu; });
        wrong += said == wire.spoken.rend() || said->bytes[0] != 0x62 ||
                         std::search(said->bytes.begin() + 1, said->bytes.end(), item.begin(),
                                     item.end()) == said->bytes.end()
                     ? 1U
                     : 0U;
    };
    session.run(poller, wire.now);
    wire.run(10 * sec);
    MESSAGE("", samples / 10, " values a second of ", wanted.size(), " parameters");
    CHECK(wrong == 0);
    CHECK(samples > 10 * 300);
    for (const Wanted& want : wanted) {
        const std::uint64_t count = by_entry[std::pair(want.ecu->value, want.pid)];
        CHECK_MESSAGE(count >= 10, int{want.pid});
    }
}

TEST_CASE("answers of data identifiers are taken apart by their lengths") {
    const std::uint8_t request[] = {0x22, 0xF4, 0x0C, 0xF4, 0x0D};
    const std::uint8_t both[] = {0x62, 0xF4, 0x0C, 0x1A, 0xF8, 0xF4, 0x0D, 0x32};
    const std::uint8_t one[] = {0x62, 0xF4, 0x0D, 0x32};
    const std::uint8_t cut[] = {0x62, 0xF4, 0x0C, 0x1A, 0xF8, 0xF4, 0x0D};
    const std::uint8_t other[] = {0x62, 0xF4, 0x05, 0x32};
    const std::uint8_t page[] = {0x62, 0xF4, 0x0C, 0x1A, 0xF8, 0xF5, 0x0D, 0x32};
    for (const Bytes good : {Bytes(both), Bytes(one)})
        CHECK(answers(good, request, Dialect::can_11));
    for (const Bytes bad : {Bytes(cut), Bytes(other), Bytes(page)})
        CHECK(!answers(bad, request, Dialect::can_11));
    const std::uint8_t asked[] = {0x0C, 0x0D};
    std::array<PidData, 6> out;
    REQUIRE(split_pids(both, asked, out) == 2);
    CHECK(out[0].pid == 0x0C);
    CHECK(out[0].data.size() == 2);
    CHECK(out[1].pid == 0x0D);
    CHECK(out[1].data[0] == 0x32);
    CHECK(split_pids(cut, asked, out) == 0);
}
