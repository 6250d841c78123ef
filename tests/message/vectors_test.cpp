// SPDX-License-Identifier: Apache-2.0
// Every message of vectors/messages*.txt says what stands there.
#include <doctest/doctest.h>

#include <fstream>

#include "recorder.hpp"

using telltale::tests::said;

namespace {

struct Vector {
    std::string hex;
    std::string expected;
    std::string source;
    int line = 0;
    bool older = false;
};

std::vector<Vector> read(const std::string& name) {
    std::vector<Vector> vectors;
    std::ifstream in(std::string(TELLTALE_SOURCE_DIR) + "/vectors/" + name);
    REQUIRE(in.is_open());
    std::string line;
    for (int number = 1; std::getline(in, line); ++number) {
        if (line.empty() || line[0] == '#')
            continue;
        const std::size_t space = line.find(' ');
        REQUIRE(space != std::string::npos);
        const std::string word = line.substr(0, space);
        std::string rest = line.substr(space + 1);
        if (word == "message") {
            Vector& vector = vectors.emplace_back();
            vector.older = rest.rfind("older ", 0) == 0;
            vector.hex = vector.older ? rest.substr(6) : rest;
            vector.line = number;
        } else if (word == "is") {
            vectors.at(vectors.size() - 1).expected += rest + '\n';
        } else {
            REQUIRE(word == "from");
            vectors.at(vectors.size() - 1).source = rest;
        }
    }
    return vectors;
}

void check(const std::string& name, std::size_t least) {
    const std::vector<Vector> vectors = read(name);
    CHECK(vectors.size() >= least);
    for (const Vector& vector : vectors) {
        CAPTURE(name);
        CAPTURE(vector.line);
        CHECK_FALSE(vector.source.empty());
        REQUIRE_FALSE(telltale::tests::bytes_of(vector.hex).empty());
        CHECK(said(vector.hex, nullptr, vector.older).all() == vector.expected);
    }
}

} // namespace

TEST_CASE("messages on CAN and on the older lines") {
    check("messages.txt", 60);
}

TEST_CASE("messages of OBDonUDS") {
    check("messages-uds.txt", 40);
}
