// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/built_in.hpp"

#include <string>
#include <utility>

#include "base/chance.hpp"

namespace telltale::vet {

namespace {

class Maker {
  public:
    explicit Maker(std::uint64_t seed) : chance_(seed) {}

    void group(std::string id, std::string title, std::string basis) {
        known_.groups.push_back({std::move(id), std::move(title), std::move(basis)});
    }
    KnownFrame frame(CanId id, std::size_t size) {
        KnownFrame made;
        made.id = id;
        made.size = static_cast<std::uint8_t>(size);
        made.group = static_cast<std::uint16_t>(known_.groups.size() - 1);
        return made;
    }
    KnownFrame random(CanId id, std::size_t size) {
        KnownFrame made = frame(id, size);
        for (std::size_t i = 0; i < size; ++i)
            made.data[i] = chance_.byte();
        return made;
    }
    CanId any_id() {
        const bool extended = chance_.below(2) != 0;
        return {chance_.below((extended ? CanId::max_extended : CanId::max_standard) + 1),
                extended};
    }
    void add(const KnownFrame& frame) { known_.frames.push_back(frame); }

    KnownFrames make() {
        lengths();
        identifiers();
        patterns();
        stuffing();
        group("random", "Random frames", "ISO 11898-1 (data field)");
        for (int i = 0; i < 200; ++i)
            add(random(any_id(), chance_.below(9)));
        remote();
        fd();
        return std::move(known_);
    }

  private:
    void lengths() {
        group("lengths", "Every length from 0 to 8 bytes", "ISO 11898-1 (data length code)");
        for (std::size_t size = 0; size <= 8; ++size)
            for (const CanId id :
                 {CanId{0x7DF, false}, CanId{0x7E8, false}, CanId{0x18DA'F110, true}})
                add(random(id, size));
    }

    void identifiers() {
        group("ids-11", "11-bit identifiers at the edges, walking ones and zeros",
              "ISO 11898-1 (arbitration field)");
        for (const std::uint32_t id : {0x000U, 0x001U, 0x3FFU, 0x400U, 0x7FEU, 0x7FFU, 0x7DFU})
            add(random({id, false}, 8));
        for (std::uint32_t id = 0x7E0; id <= 0x7EF; ++id)
            add(random({id, false}, 8));
        for (unsigned bit = 0; bit < 11; ++bit) {
            add(random({1U << bit, false}, 8));
            add(random({CanId::max_standard ^ 1U << bit, false}, 8));
        }
        group("ids-29", "29-bit identifiers at the edges, walking ones and zeros",
              "ISO 11898-1 (arbitration field)");
        for (const std::uint32_t id :
             {0x0000'0000U, 0x0000'0001U, 0x0000'07FFU, 0x0000'0800U, 0x0003'FFFFU, 0x0004'0000U,
              0x1FFF'FFFEU, 0x1FFF'FFFFU, 0x18DB'33F1U, 0x18DA'10F1U, 0x18DA'F110U, 0x0000'07DFU,
              0x0000'07E8U})
            add(random({id, true}, 8));
        for (unsigned bit = 0; bit < 29; ++bit) {
            add(random({1U << bit, true}, 8));
            add(random({CanId::max_extended ^ 1U << bit, true}, 8));
        }
    }

    void patterns() {
        group("data", "Data of zeros, ones, alternating, walking ones and zeros",
              "ISO 11898-1 (data field)");
        for (const unsigned fill : {0x00U, 0xFFU, 0x55U, 0xAAU, 0x0FU, 0xF0U, 0xCCU, 0x33U})
            for (const CanId id : {CanId{0x7E0, false}, CanId{0x18DA'10F1, true}}) {
                KnownFrame made = frame(id, 8);
                made.data.fill(static_cast<std::uint8_t>(fill));
                add(made);
            }
        for (unsigned bit = 0; bit < 64; ++bit) {
            KnownFrame ones = frame({0x7E8, false}, 8);
            ones.data[bit / 8] = static_cast<std::uint8_t>(0x80U >> bit % 8);
            add(ones);
            KnownFrame zeros = frame({0x7E8, false}, 8);
            for (std::size_t i = 0; i < 8; ++i)
                zeros.data[i] = static_cast<std::uint8_t>(~ones.data[i]);
            add(zeros);
        }
    }

    /// The longest run goes on with each bit that can be chosen: then every fourth bit brings a
    /// stuff bit.
    class Runs {
      public:
        void put(unsigned value) {
            run_ = value == last_ ? run_ + 1 : 1;
            last_ = value;
            if (run_ == 5) {
                last_ ^= 1U;
                run_ = 1;
            }
        }
        void put(unsigned value, unsigned bits) {
            for (unsigned i = bits; i > 0; --i)
                put(value >> (i - 1) & 1U);
        }
        /// Puts `bits` that go on with the run, and returns them.
        std::uint32_t choose(unsigned bits) {
            std::uint32_t chosen = 0;
            for (unsigned i = 0; i < bits; ++i) {
                const unsigned value = last_;
                put(value);
                chosen = chosen << 1 | value;
            }
            return chosen;
        }

      private:
        unsigned last_ = 2;
        unsigned run_ = 0;
    };

    void stuffing() {
        group("stuffing", "Frames with a stuff bit after every fourth bit",
              "ISO 11898-1 (bit stuffing)");
        for (const bool extended : {false, true})
            for (int i = 0; i < 8; ++i) {
                KnownFrame made = frame({0, extended}, 8);
                Runs runs;
                runs.put(0); // SOF
                // In the first the identifier is chosen too; the others begin anywhere.
                std::uint32_t base = i == 0 ? runs.choose(11) : chance_.below(0x800);
                if (i != 0)
                    runs.put(base, 11);
                if (extended) {
                    runs.put(3, 2); // SRR, IDE
                    const std::uint32_t rest = i == 0 ? runs.choose(18) : chance_.below(0x40000);
                    if (i != 0)
                        runs.put(rest, 18);
                    base = base << 18 | rest;
                }
                made.id.value = base;
                runs.put(0, 3); // RTR, r1 or IDE, r0
                runs.put(8, 4);
                for (std::size_t at = 0; at < 8; ++at)
                    made.data[at] = static_cast<std::uint8_t>(runs.choose(8));
                add(made);
            }
    }

    void remote() {
        group("remote", "Remote frames", "ISO 11898-1 (remote frames)");
        for (std::uint8_t length = 0; length <= 8; ++length)
            for (const CanId id : {CanId{0x7E8, false}, CanId{0x18DA'F110, true}}) {
                KnownFrame made = frame(id, 0);
                made.kind = CanKind::remote;
                made.remote_length = length;
                add(made);
            }
    }

    void fd() {
        group("fd-lengths", "Every length of CAN FD from 0 to 64 bytes",
              "ISO 11898-1 (data length code)");
        for (std::size_t size = 0; size <= 64; ++size)
            if (is_fd_length(size))
                for (const bool fast : {false, true})
                    for (const bool extended : {false, true}) {
                        KnownFrame made =
                            random(extended ? CanId{0x18DA'F110, true} : CanId{0x7E8, false}, size);
                        made.fd = true;
                        made.bit_rate_switch = fast;
                        add(made);
                    }
    }

    Chance chance_;
    KnownFrames known_;
};

} // namespace

KnownFrames built_in_frames(std::uint64_t seed) {
    return Maker(seed).make();
}

} // namespace telltale::vet
