// SPDX-License-Identifier: Apache-2.0
// What the tests' precompiled header is compiled for; the rest of this program is doctest's.
namespace telltale::testing {
void nothing() {}
} // namespace telltale::testing
