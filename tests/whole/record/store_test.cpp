// SPDX-License-Identifier: Apache-2.0
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include <unistd.h>

#include <doctest/doctest.h>

#include "store.hpp"
#include "telltale/dump/reader.hpp"

using namespace telltale;
using namespace telltale::program;

namespace {

constexpr Time s = nanoseconds_a_second;

struct Scratch {
    std::string folder = "/tmp/telltale-store-XXXXXX";
    std::string path;
    Scratch() {
        REQUIRE(::mkdtemp(folder.data()) != nullptr);
        path = folder + "/drive.pcapng";
    }
    ~Scratch() {
        std::remove(path.c_str());
        ::rmdir(folder.c_str());
    }
};

CanFrame number(std::uint32_t id, const std::vector<std::uint8_t>& data) {
    CanFrame frame;
    frame.id = {id, true};
    frame.data = data;
    return frame;
}

struct Read {
    std::vector<std::uint32_t> ids;
    std::vector<std::pair<std::uint32_t, std::string>> comments;
};
Read read(const std::string& path) {
    auto reader = dump::Reader::open(path);
    REQUIRE(reader);
    Read out;
    dump::Record record;
    Problem problem;
    for (;;) {
        const auto step = reader->next(record, problem);
        if (step == dump::Step::end)
            return out;
        REQUIRE(step == dump::Step::record);
        out.ids.push_back(record.can.id.value);
        if (!record.comment.empty())
            out.comments.emplace_back(record.can.id.value, record.comment);
    }
}

std::unique_ptr<Store> open(const StoreOptions& options) {
    auto store = Store::open(options);
    REQUIRE(store);
    return std::move(*store);
}

} // namespace

TEST_CASE("everything is kept, a mark at the frame before it") {
    Scratch place;
    StoreOptions options;
    options.path = place.path;
    const std::vector<std::uint8_t> data{1, 2, 3};
    {
        auto store = open(options);
        for (std::uint32_t i = 0; i < 10; ++i) {
            store->add(number(i, data), 1000 * s + i * s / 100, false);
            if (i == 4) {
                store->mark("one", 1000 * s + i * s / 100);
                store->mark("two", 1000 * s + i * s / 100);
            }
        }
        CHECK(store->close(1001 * s));
        CHECK(store->frames() == 10);
        CHECK(store->marks() == 2);
    }
    const auto got = read(place.path);
    CHECK(got.ids.size() == 10);
    REQUIRE(got.comments.size() == 1);
    CHECK(got.comments[0].first == 4);
    CHECK(got.comments[0].second == "one; two");
    CHECK(!Store::open(options)); // never over what is there
}

TEST_CASE("what a tick wrote can be read while the recording goes on") {
    Scratch place;
    StoreOptions options;
    options.path = place.path;
    const std::vector<std::uint8_t> data{1};
    auto store = open(options);
    CHECK(read(place.path).ids.empty());
    for (std::uint32_t i = 0; i < 100; ++i)
        store->add(number(i, data), 1000 * s + i, false);
    store->tick(1001 * s);
    CHECK(read(place.path).ids.size() == 100);
    // A mark long after the last frame belongs to the next one.
    store->mark("late", 1002 * s);
    store->add(number(500, data), 1003 * s, false);
    CHECK(store->close(1003 * s));
    const auto got = read(place.path);
    REQUIRE(got.comments.size() == 1);
    CHECK(got.comments[0].first == 500);
}

TEST_CASE("a mark that finds no frame is not lost in silence") {
    Scratch place;
    StoreOptions options;
    options.path = place.path;
    auto store = open(options);
    store->mark("nothing here", 1000 * s);
    CHECK(!store->close(1001 * s));
    CHECK(store->trouble().find("nothing here") != std::string::npos);
}

TEST_CASE("only what lies about marks, in bounded room") {
    Scratch place;
    StoreOptions options;
    options.path = place.path;
    options.keep_before = 10 * s;
    options.keep_after = 5 * s;
    const std::vector<std::uint8_t> data{1, 2, 3, 4, 5, 6, 7, 8};
    auto store = open(options);
    for (std::uint32_t i = 0; i < 1000; ++i) { // ten a second
        const Time time = 1000 * s + i * s / 10;
        store->add(number(i, data), time, (i & 1) != 0);
        if (i == 300 || i == 320 || i == 700)
            store->mark("m", time);
    }
    CHECK(store->close(1100 * s));
    CHECK(store->crowded_out() == 0);
    const auto got = read(place.path);
    std::vector<std::uint32_t> wanted;
    for (std::uint32_t i = 200; i <= 370; ++i) // one mark in the other's time after
        wanted.push_back(i);
    for (std::uint32_t i = 600; i <= 750; ++i)
        wanted.push_back(i);
    CHECK(got.ids == wanted);
    REQUIRE(got.comments.size() == 3);
    CHECK(got.comments[0].first == 300);
    CHECK(got.comments[1].first == 320);
    CHECK(got.comments[2].first == 700);
}

TEST_CASE("a bound on what waits for a mark, and a word about it") {
    Scratch place;
    StoreOptions options;
    options.path = place.path;
    options.keep_before = 1000 * s;
    options.most_bytes = 100'000;
    const std::vector<std::uint8_t> data(8);
    auto store = open(options);
    for (std::uint32_t i = 0; i < 10'000; ++i)
        store->add(number(i, data), 1000 * s + i * s / 100, false);
    store->mark("m", 1100 * s);
    CHECK(store->close(1100 * s));
    const auto got = read(place.path);
    CHECK(store->crowded_out() > 0);
    CHECK(got.ids.size() + store->crowded_out() == 10'000);
    CHECK(got.ids.size() > 2000);
    CHECK(got.ids.back() == 9'999);
}
