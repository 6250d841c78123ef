// SPDX-License-Identifier: Apache-2.0
// check-jsonl: reads JSON Lines from standard input with another JSON library and holds each object
// to examples/telltale/CONTRACT.md. Prints what does not fit; status 1 when anything did not.
#include <algorithm>
#include <iostream>
#include <set>
#include <string>

#include <nlohmann/json.hpp>

namespace {

using nlohmann::json;

int failures = 0;

void check(bool good, const char* what, const std::string& line) {
    if (good)
        return;
    ++failures;
    if (failures < 20)
        std::cerr << what << ": " << line.substr(0, 300) << '\n';
}

bool is_hex(const json& text, std::size_t digits) {
    if (!text.is_string())
        return false;
    const auto& hex = text.get_ref<const std::string&>();
    return (digits == 0 ? hex.size() % 2 == 0 : hex.size() == digits) &&
           std::all_of(hex.begin(), hex.end(),
                       [](char c) { return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'F'); });
}

bool is_null_or_text(const json& value) {
    return value.is_null() || value.is_string();
}

void check_value(const json& value, bool asked, const std::string& line) {
    check(is_hex(value.at("id"), 2) || is_hex(value.at("id"), 4), "id of a value", line);
    check(value.at("name").is_string() && !value.at("name").empty(), "name", line);
    if (asked) {
        check(value.at("value").is_null() && value.at("unit").is_null(), "asked", line);
        return;
    }
    if (value.at("value").is_null()) {
        check(value.at("text").is_string() && value.at("unit").is_null(), "text", line);
    } else {
        check(value.at("value").is_number() && value.at("text").is_null(), "number", line);
        check(value.at("unit").is_string() && !value.at("unit").get<std::string>().empty(), "unit",
              line);
    }
    if (value.contains("passed")) {
        const auto number = value.at("value").get<double>();
        const bool inside =
            value.at("low").get<double>() <= number && number <= value.at("high").get<double>();
        check(value.at("passed").get<bool>() == inside, "passed", line);
        check(is_hex(value.at("test"), 2), "test", line);
    }
}

void check_object(const json& object, const std::string& line) {
    const auto& time = object.at("time");
    check(time.is_null() || time.is_number(), "time", line);
    check(is_null_or_text(object.at("line")), "line", line);
    const auto& id = object.at("id");
    check(id.is_null() || is_hex(id, 3) || is_hex(id, 8), "id", line);
    check(is_hex(object.at("bytes"), 0), "bytes", line);
    const auto kind = object.at("kind").get<std::string>();
    const auto& service = object.at("service");
    check(is_hex(service, 2) || (kind == "problem" && service.is_null()), "service", line);
    if (kind == "problem") {
        check(!object.at("problem").get<std::string>().empty(), "problem", line);
        check(!object.at("detail").get<std::string>().empty(), "detail", line);
        const auto& place = object.at("place");
        check(place.at("offset").is_number_unsigned(), "offset", line);
        check(place.at("line").is_null() || place.at("line").is_number_unsigned(), "line", line);
        return;
    }
    check(kind == "request" || kind == "response" || kind == "negative", "kind", line);
    for (const auto& value : object.at("values"))
        check_value(value, kind == "request", line);
    if (kind == "negative") {
        check(is_hex(object.at("code"), 2) && object.at("text").is_string(), "code", line);
        check(object.at("pending").get<bool>() == (object.at("code") == "78"), "pending", line);
    }
    const std::set<std::string> lists = {"03", "07", "0A"};
    if (kind == "response" && lists.count(service.get<std::string>()) != 0)
        check(object.at("dtcs").is_array(), "dtcs", line);
}

} // namespace

int main() {
    std::ios::sync_with_stdio(false);
    std::string line;
    std::size_t lines = 0;
    while (std::getline(std::cin, line)) {
        ++lines;
        try {
            check_object(json::parse(line), line);
        } catch (const std::exception& error) {
            check(false, error.what(), line);
        }
    }
    check(lines != 0, "no lines", "");
    return failures == 0 ? 0 : 1;
}
