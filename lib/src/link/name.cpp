// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/name.hpp"

#include <algorithm>
#include <array>
#include <optional>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"

namespace telltale::link {

namespace {

constexpr std::size_t longest = 4096;

struct Form {
    LinkKind kind;
    std::string_view word;
    std::string_view example;
};
constexpr std::array<Form, 5> forms = {{
    {LinkKind::can, "can", "can:can0"},
    {LinkKind::slcan, "slcan", "slcan:/dev/ttyACM0@500k"},
    {LinkKind::kline, "kline", "kline:/dev/ttyUSB0"},
    {LinkKind::doip, "doip", "doip:192.0.2.7"},
    {LinkKind::dump, "dump", "dump:drive.pcapng@2x"},
}};

constexpr std::array<std::uint32_t, 9> bit_rates = {10'000,  20'000,  50'000,  100'000,  125'000,
                                                    250'000, 500'000, 800'000, 1'000'000};

const Form& form_of(LinkKind kind) {
    return *std::find_if(forms.begin(), forms.end(),
                         [&](const Form& form) { return form.kind == kind; });
}

std::string quoted(std::string_view text) {
    std::string out = "'";
    append_plain(out, text.substr(0, 80));
    return out + (text.size() > 80 ? "...'" : "'");
}

tl::unexpected<Error> wrong(LinkKind kind, std::string what) {
    return fail(ErrorCode::bad_argument,
                std::move(what) + "; write it like " + std::string(form_of(kind).example));
}

std::optional<std::uint32_t> number(std::string_view text, std::uint32_t most) {
    if (text.empty() || text.size() > 9)
        return {};
    std::uint32_t value = 0;
    for (const char c : text) {
        if (c < '0' || c > '9')
            return {};
        value = value * 10 + static_cast<std::uint32_t>(c - '0');
    }
    return value <= most ? std::optional(value) : std::nullopt;
}

std::optional<std::uint32_t> bit_rate(std::string_view text) {
    std::uint32_t times = 1;
    if (text.ends_with('k') || text.ends_with('M')) {
        times = text.back() == 'k' ? 1000 : 1'000'000;
        text.remove_suffix(1);
    }
    const auto value = number(text, 1'000'000);
    if (!value || *value > 1'000'000 / times)
        return {};
    const auto rate = *value * times;
    if (std::find(bit_rates.begin(), bit_rates.end(), rate) == bit_rates.end())
        return {};
    return rate;
}

/// `2x`, `0.5x`, `max`.
std::optional<double> speed(std::string_view text) {
    if (text == "max")
        return 0;
    if (!text.ends_with('x'))
        return {};
    text.remove_suffix(1);
    const auto point = text.find('.');
    const auto whole = number(text.substr(0, point), 1000);
    if (!whole)
        return {};
    std::uint32_t thousandths = *whole * 1000;
    if (point != std::string_view::npos) {
        const auto rest = text.substr(point + 1);
        const auto part = number(rest, 999);
        if (!part || rest.size() > 3)
            return {};
        thousandths += *part * (rest.size() == 1 ? 100 : rest.size() == 2 ? 10 : 1);
    }
    if (thousandths == 0 || thousandths > 1'000'000)
        return {};
    return thousandths / 1000.0;
}

bool fine_place(std::string_view place) {
    return !place.empty() && std::none_of(place.begin(), place.end(), [](char c) {
        return static_cast<unsigned char>(c) < 0x20 || c == 0x7F;
    });
}

Result<void> read_option(std::string_view option, LinkName& name) {
    const auto equal = option.find('=');
    const auto word = option.substr(0, equal);
    const auto value =
        equal == std::string_view::npos ? std::string_view{} : option.substr(equal + 1);
    const bool bare = equal == std::string_view::npos;
    const bool serial = name.kind == LinkKind::slcan || name.kind == LinkKind::kline;
    if (bare && word == "listen" && (name.kind == LinkKind::can || name.kind == LinkKind::slcan)) {
        name.listen = true;
    } else if (bare && word == "fd" && name.kind == LinkKind::slcan) {
        name.fd = true;
    } else if (bare && word == "times" && name.kind == LinkKind::slcan) {
        name.times = true;
    } else if (word == "baud" && serial) {
        const auto baud = number(value, 12'000'000);
        if (!baud || *baud < 300)
            return wrong(name.kind,
                         "baud= takes 300 to 12000000, as in baud=115200, not " + quoted(value));
        name.baud = *baud;
    } else if (bare && word == "tls" && name.kind == LinkKind::doip) {
        name.tls = true;
    } else if (bare && word == "unverified" && name.kind == LinkKind::doip) {
        name.unverified = true;
    } else if (word == "ca" && name.kind == LinkKind::doip) {
        if (value.empty())
            return wrong(name.kind, "ca= takes a file of certificates");
        name.ca = value;
    } else if (word == "target" && name.kind == LinkKind::doip) {
        std::uint16_t target = 0;
        for (const char c : value)
            target = static_cast<std::uint16_t>(target << 4 | hex_digit(c));
        if (value.empty() || value.size() > 4 || target == 0 ||
            !std::all_of(value.begin(), value.end(), [](char c) { return hex_digit(c) <= 15; }))
            return wrong(name.kind,
                         "target= takes a logical address in hex, as in target=E000, not " +
                             quoted(value));
        name.target = target;
    } else {
        std::string options = "none";
        if (name.kind == LinkKind::can)
            options = "listen";
        else if (name.kind == LinkKind::slcan)
            options = "listen, fd, times, baud=N";
        else if (name.kind == LinkKind::kline)
            options = "baud=N";
        else if (name.kind == LinkKind::doip)
            options = "tls, ca=FILE, unverified, target=HEX";
        return wrong(name.kind, quoted(option) + " is no option of a " +
                                    std::string(form_of(name.kind).word) +
                                    " link (it has: " + options + ")");
    }
    return {};
}

Result<void> read_host(std::string_view text, LinkName& name) {
    std::string_view port;
    if (text.starts_with('[')) {
        const auto end = text.find(']');
        if (end == std::string_view::npos)
            return wrong(name.kind, "the ] after the IPv6 address is missing");
        name.place = text.substr(1, end - 1);
        if (name.place.find(':') == std::string::npos ||
            std::any_of(name.place.begin(), name.place.end(), [](char c) {
                return hex_digit(c) > 15 && c != ':' && c != '.' && c != '%' &&
                       !(c >= 'a' && c <= 'z') && !(c >= '0' && c <= '9');
            }))
            return wrong(name.kind, "between [ and ] stands an IPv6 address");
        const auto rest = text.substr(end + 1);
        if (!rest.empty() && rest[0] != ':')
            return wrong(name.kind, "after ] only a port may follow");
        if (!rest.empty())
            port = rest.substr(1);
        if (!rest.empty() && port.empty())
            return wrong(name.kind, "the port after : is missing");
    } else {
        const auto colon = text.find(':');
        if (colon != std::string_view::npos && text.find(':', colon + 1) != std::string_view::npos)
            return wrong(name.kind, "an IPv6 address stands between [ and ], as in doip:[fd00::7]");
        name.place = text.substr(0, colon);
        if (colon != std::string_view::npos) {
            port = text.substr(colon + 1);
            if (port.empty())
                return wrong(name.kind, "the port after : is missing");
        }
        if (std::any_of(name.place.begin(), name.place.end(), [](char c) {
                return !((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
                         (c >= '0' && c <= '9') || c == '.' || c == '-' || c == '_');
            }))
            return wrong(name.kind, quoted(name.place) + " is no host");
    }
    if (!port.empty()) {
        const auto value = number(port, 65'535);
        if (!value || *value == 0)
            return wrong(name.kind, quoted(port) + " is no port (1 to 65535)");
        name.port = static_cast<std::uint16_t>(*value);
    }
    return {};
}

/// What stands behind the colon, without options.
Result<void> read_place(std::string_view text, LinkName& name) {
    if (name.kind == LinkKind::doip)
        return read_host(text, name);
    const auto at = name.kind == LinkKind::can ? std::string_view::npos : text.rfind('@');
    name.place = text.substr(0, at);
    if (at == std::string_view::npos)
        return {};
    const auto value = text.substr(at + 1);
    if (name.kind == LinkKind::slcan) {
        const auto rate = bit_rate(value);
        if (!rate)
            return wrong(name.kind, quoted(value) + " is no bit rate of such adapters (10k, 20k, "
                                                    "50k, 100k, 125k, 250k, 500k, 800k, 1M)");
        name.bit_rate = *rate;
    } else if (name.kind == LinkKind::kline) {
        if (value == "5baud")
            name.start = LinkName::Start::five_baud;
        else if (value == "fast")
            name.start = LinkName::Start::fast;
        else if (value == "none")
            name.start = LinkName::Start::none;
        else
            return wrong(name.kind,
                         quoted(value) + " is no way to wake a K-line (5baud, fast, none)");
    } else if (const auto times = speed(value)) {
        name.speed = *times;
    } else {
        name.place = text;
    }
    return {};
}

std::string all_examples() {
    std::string out;
    for (const auto& form : forms) {
        out += out.empty() ? "" : &form == &forms.back() ? " or " : ", ";
        out += form.example;
    }
    return out;
}

} // namespace

Result<LinkName> parse_link_name(std::string_view text) {
    if (text.size() > longest)
        return fail(ErrorCode::bad_argument, "a name of a link has at most 4096 characters");
    const auto colon = text.find(':');
    const auto word = text.substr(0, colon);
    const auto form = std::find_if(forms.begin(), forms.end(),
                                   [&](const Form& each) { return each.word == word; });
    if (form == forms.end()) {
        std::string hint;
        if (text.starts_with("/dev/"))
            hint = "; for a serial device say what it speaks: slcan:" + std::string(text) +
                   " or kline:" + std::string(text);
        else if (colon == std::string_view::npos && !text.empty() && text.size() < 16 &&
                 text.find("can") != std::string_view::npos && text.find('.') == text.npos)
            hint = "; for the CAN interface " + quoted(text) + " write can:" + std::string(text);
        else
            hint = "; write " + all_examples();
        std::string shown;
        append_plain(shown, hint);
        return fail(ErrorCode::bad_argument, quoted(text) + " names no link" + shown);
    }
    LinkName name;
    name.kind = form->kind;
    if (colon == std::string_view::npos || colon + 1 == text.size())
        return wrong(name.kind, "after " + std::string(word) + ": is missing what to open");
    auto rest = text.substr(colon + 1);
    // A file's name may hold commas; the others' names do not.
    const auto comma = name.kind == LinkKind::dump ? std::string_view::npos : rest.find(',');
    if (auto read = read_place(rest.substr(0, comma), name); !read)
        return tl::unexpected<Error>(read.error());
    if (!fine_place(name.place))
        return wrong(name.kind, "after " + std::string(word) + ": is missing what to open");
    if (name.kind == LinkKind::can && name.place.size() > 15)
        return wrong(name.kind, "the name of an interface has at most 15 characters");
    if (comma == std::string_view::npos)
        return name;
    for (rest.remove_prefix(comma); !rest.empty();) {
        rest.remove_prefix(1);
        const auto end = std::min(rest.find(','), rest.size());
        if (auto read = read_option(rest.substr(0, end), name); !read)
            return tl::unexpected<Error>(read.error());
        rest.remove_prefix(end);
    }
    if (!name.tls && (name.unverified || !name.ca.empty()))
        return wrong(name.kind, "ca= and unverified go with tls");
    if (name.unverified && !name.ca.empty())
        return wrong(name.kind, "unverified takes any certificate; ca= only these: write one");
    return name;
}

std::string to_string(const LinkName& name) {
    std::string out(form_of(name.kind).word);
    out += ':';
    const bool brackets = name.kind == LinkKind::doip && name.place.find(':') != std::string::npos;
    out += brackets ? "[" + name.place + "]" : name.place;
    const auto put = [&](std::string_view before, std::uint64_t value) {
        out += before;
        append_integer(out, value);
    };
    if (name.bit_rate != 0) {
        const bool mega = name.bit_rate % 1'000'000 == 0;
        put("@", name.bit_rate / (mega ? 1'000'000 : 1000));
        out += mega ? 'M' : 'k';
    }
    if (name.start != LinkName::Start::any)
        out += name.start == LinkName::Start::five_baud ? "@5baud"
               : name.start == LinkName::Start::fast    ? "@fast"
                                                        : "@none";
    if (name.port != 0)
        put(":", name.port);
    if (name.kind == LinkKind::dump) {
        // Said where a part of the file's name could be taken for it.
        const auto at = name.place.rfind('@');
        const bool needed =
            at != std::string::npos && speed(std::string_view(name.place).substr(at + 1));
        if (name.speed == 0) {
            out += "@max";
        } else if (name.speed != 1 || needed) {
            out += '@';
            std::string digits;
            append_number(digits, name.speed, 3);
            while (digits.back() == '0')
                digits.pop_back();
            if (digits.back() == '.')
                digits.pop_back();
            out += digits + 'x';
        }
    }
    if (name.listen)
        out += ",listen";
    if (name.fd)
        out += ",fd";
    if (name.times)
        out += ",times";
    if (name.baud != 0)
        put(",baud=", name.baud);
    if (name.tls)
        out += ",tls";
    if (!name.ca.empty())
        out += ",ca=" + name.ca;
    if (name.unverified)
        out += ",unverified";
    if (name.target != 0) {
        out += ",target=";
        append_hex(out, name.target, 4);
    }
    return out;
}

} // namespace telltale::link
