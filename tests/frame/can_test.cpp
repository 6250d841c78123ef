// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "telltale/frame/can.hpp"
#include "telltale/frame/filter.hpp"

using namespace telltale;

// ISO 15765-4:2016, 10.5.1 and 10.5.2: the identifiers of emissions-related diagnostics.
TEST_CASE("the identifiers of ISO 15765-4 have their roles and their partners") {
    for (std::uint32_t id = 0; id <= CanId::max_standard; ++id) {
        const Role expected = id == 0x7DF || (id >= 0x7E0 && id <= 0x7E7) ? Role::tester
                              : id >= 0x7E8 && id <= 0x7EF                ? Role::ecu
                                                                          : Role::unknown;
        CHECK(role_of({id, false}) == expected);
        CHECK(CanFilter::diagnostic().passes({id, false}) == (expected != Role::unknown));
        CHECK(role_of({id, true}) == Role::unknown);
    }
    CHECK(role_of({0x18DB33F1, true}) == Role::tester);
    for (std::uint32_t ecu = 0; ecu < 256; ++ecu) {
        const CanId request{0x18DA00F1 | ecu << 8, true};
        const CanId response{0x18DAF100 | ecu, true};
        CHECK(role_of(request) == Role::tester);
        CHECK(CanFilter::diagnostic().passes(request));
        CHECK(CanFilter::diagnostic().passes(response));
        if (ecu != 0xF1) {
            CHECK(role_of(response) == Role::ecu);
            CHECK(partner_of(request) == response);
            CHECK(partner_of(response) == request);
        }
    }
    CHECK(partner_of({0x7E0, false}) == CanId{0x7E8, false});
    CHECK(partner_of({0x7EF, false}) == CanId{0x7E7, false});
    CHECK(partner_of({0x123, false}) == CanId{0x123, false});
    CHECK(is_functional({0x7DF, false}));
    CHECK(is_functional({0x18DB33F1, true}));
    CHECK(!is_functional({0x7E0, false}));
}

TEST_CASE("a filter lets through what it was given and nothing else") {
    CanFilter filter;
    CHECK(!filter.passes({0x123, false}));
    CHECK(filter.add({0x123, false}));
    CHECK(filter.add({0x1ABCDEF0, true}));
    CHECK(filter.passes({0x123, false}));
    CHECK(!filter.passes({0x123, true}));
    CHECK(!filter.passes({0x124, false}));
    CHECK(filter.passes({0x1ABCDEF0, true}));
    CHECK(!filter.passes({0x1ABCDEF1, true}));
    int added = 1;
    while (filter.add_extended(0x100, CanId::max_extended))
        ++added;
    CHECK(added == 32);
    CHECK(CanFilter::everything().passes({0x7FF, false}));
    CHECK(CanFilter::everything().passes({0x1FFFFFFF, true}));
}

// ISO 11898-1:2015, table 5: data length codes 9 to 15 stand for 12, 16, 20, 24, 32, 48, 64.
TEST_CASE("FD lengths are those that a data length code can say") {
    int lengths = 0;
    for (std::size_t n = 0; n <= 64; ++n) {
        lengths += is_fd_length(n) ? 1 : 0;
        CHECK(is_fd_length(fd_length_for(n)));
        CHECK(fd_length_for(n) >= n);
    }
    CHECK(lengths == 16);
    CHECK(!is_fd_length(9));
    CHECK(fd_length_for(9) == 12);
    CHECK(fd_length_for(49) == 64);
    CHECK(CanId{0x7FF, false}.valid());
    CHECK(!CanId{0x800, false}.valid());
    CHECK(!CanId{0x20000000, true}.valid());
}
