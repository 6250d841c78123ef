// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/time.hpp"
#include "telltale/vet/report.hpp"

/// What vetting a DoIP entity holds against each other.
namespace telltale::vet::through {

using Message = std::vector<std::uint8_t>;

constexpr std::size_t most_recent_messages = 64;

std::string hex_of(Bytes bytes);
std::string hex_of(std::uint8_t code);
std::string hex_of(std::uint16_t address);
/// `1,024 bytes`.
std::string how_many(std::uint64_t number, std::string_view one, std::string_view many);
bool same_message(Bytes a, Bytes b);

/// What was judged of one kind, and what of it was wrong.
struct Judged {
    std::uint64_t all = 0;
    std::uint64_t wrong = 0;
    std::string first; ///< what was wrong first
    std::vector<Example> examples;
    void fault(Time since, Bytes sent, Bytes came, std::string what);
    void add(const Judged& more);
};

/// Messages on their way through the entity, held against those that come out.
class Way {
  public:
    enum class Fate : std::uint8_t { arrived, misplaced, twice, changed, alien };
    struct Open {
        Message bytes;
        Time given = 0;
    };
    void expect(Message bytes, Time now) { open_.push_back({std::move(bytes), now}); }
    /// `last()` is then the one that it was.
    Fate arrived(Bytes bytes);
    const Open& last() const { return last_; }
    /// It will not come: the entity has refused it.
    bool withdraw(Bytes bytes);
    std::size_t open() const { return open_.size(); }
    template <class F> void close(F each) {
        for (const Open& one : open_)
            each(one.bytes);
        open_.clear();
        passed_ = 0;
    }

  private:
    void take(std::size_t at);
    std::deque<Open> open_;
    std::size_t passed_ = 0; ///< of `open_`: others that were given later have come
    std::deque<Message> recent_;
    Open last_;
};

} // namespace telltale::vet::through
