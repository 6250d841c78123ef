// SPDX-License-Identifier: Apache-2.0
#include "doip_way.hpp"

#include <algorithm>
#include <utility>

#include "../render.hpp"
#include "telltale/base/hex.hpp"

namespace telltale::vet::through {

namespace {

bool one_byte_off(Bytes a, Bytes b) {
    if (a.size() != b.size())
        return false;
    std::size_t off = 0;
    for (std::size_t i = 0; i < a.size(); ++i)
        off += a[i] != b[i] ? 1U : 0U;
    return off == 1;
}

} // namespace

std::string hex_of(Bytes bytes) {
    constexpr std::size_t most = 12;
    std::string out = to_hex(bytes.first(std::min(most, bytes.size())), ' ');
    if (bytes.size() > most)
        out += " ... " + render::with_commas(bytes.size()) + " bytes";
    return out;
}
std::string hex_of(std::uint8_t code) {
    std::string out;
    append_hex(out, std::uint64_t{code}, 2);
    return out;
}
std::string hex_of(std::uint16_t address) {
    std::string out;
    append_hex(out, std::uint64_t{address}, 4);
    return out;
}

std::string how_many(std::uint64_t number, std::string_view one, std::string_view many) {
    return render::with_commas(number) + " " + std::string(number == 1 ? one : many);
}

bool same_message(Bytes a, Bytes b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end());
}

void Judged::fault(Time since, Bytes sent, Bytes came, std::string what) {
    if (wrong++ == 0)
        first = what;
    if (examples.size() < Check::most_examples)
        examples.push_back({since, sent.empty() ? std::string() : hex_of(sent),
                            came.empty() ? std::string() : hex_of(came), std::move(what)});
}

void Judged::add(const Judged& more) {
    all += more.all;
    if (wrong == 0)
        first = more.first;
    wrong += more.wrong;
    for (const Example& one : more.examples)
        if (examples.size() < Check::most_examples)
            examples.push_back(one);
}

Way::Fate Way::arrived(Bytes bytes) {
    for (std::size_t i = 0; i < open_.size(); ++i)
        if (same_message(open_[i].bytes, bytes)) {
            const bool passed = i < passed_;
            passed_ = passed ? passed_ - 1 : i;
            take(i);
            return passed ? Fate::misplaced : Fate::arrived;
        }
    for (const Message& one : recent_)
        if (same_message(one, bytes)) {
            last_ = {one, 0};
            return Fate::twice;
        }
    // The number behind the service tells which one it was; where one alone is open, it is it.
    for (std::size_t i = 0; i < open_.size(); ++i) {
        const Message& one = open_[i].bytes;
        const bool numbered = one.size() >= 5 && bytes.size() >= 5 &&
                              std::equal(one.begin(), one.begin() + 5, bytes.begin());
        if (numbered || one_byte_off(one, bytes) || open_.size() == 1) {
            passed_ = std::min(passed_, i);
            take(i);
            return Fate::changed;
        }
    }
    return Fate::alien;
}

bool Way::withdraw(Bytes bytes) {
    for (std::size_t i = 0; i < open_.size(); ++i)
        if (same_message(open_[i].bytes, bytes)) {
            passed_ -= i < passed_ ? 1 : 0;
            open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(i));
            return true;
        }
    return false;
}

void Way::take(std::size_t at) {
    last_ = std::move(open_[at]);
    open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(at));
    if (recent_.size() == most_recent_messages)
        recent_.pop_front();
    recent_.push_back(last_.bytes);
}

} // namespace telltale::vet::through
