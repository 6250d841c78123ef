// SPDX-License-Identifier: Apache-2.0
#include "extension.hpp"

#include <string>
#include <vector>

#include "guard.hpp"
#include "telltale.h"
#include "telltale/dump/source.hpp"

using namespace telltale;

namespace {

constexpr std::size_t most_texts = 10'000;

int read(const std::vector<catalogue::ExtensionText>& texts, telltale_fault_listener listener,
         void* user, std::unique_ptr<telltale_extension>& made, telltale_error* error) {
    std::vector<catalogue::Fault> faults;
    auto extension = catalogue::read_extension(texts, &faults);
    if (extension) {
        made = std::make_unique<telltale_extension>(telltale_extension{
            std::make_shared<const catalogue::Extension>(std::move(*extension))});
        return TELLTALE_OK;
    }
    if (listener != nullptr)
        for (const catalogue::Fault& fault : faults) {
            const telltale_fault told{
                fault.text, fault.line, {fault.detail.c_str(), fault.detail.size()}};
            listener(user, &told);
        }
    const Error& why = extension.error();
    const std::string_view first = std::string_view(why.detail).substr(0, why.detail.find('\n'));
    return c::fail(error, faults.empty() ? c::status_of(why.code) : int{TELLTALE_FAULTY}, first,
                   why.place);
}

} // namespace

extern "C" {

int telltale_extension_read(const telltale_named_text* texts, size_t count,
                            telltale_fault_listener faults, void* user,
                            telltale_extension** extension, telltale_error* error) {
    return c::make(extension, error, [&](std::unique_ptr<telltale_extension>& made) {
        if (texts == nullptr && count != 0)
            return c::fail(error, TELLTALE_BAD_ARGUMENT, "the texts are null");
        if (count > most_texts)
            return c::fail(error, TELLTALE_TOO_LONG, "more than 10,000 texts");
        std::vector<catalogue::ExtensionText> named;
        for (std::size_t i = 0; i < count; ++i) {
            const telltale_named_text& text = texts[i];
            if (text.name == nullptr || (text.text == nullptr && text.size != 0))
                return c::fail(error, TELLTALE_BAD_ARGUMENT, "a text or its name is null");
            named.push_back({text.name, {text.text, text.size}});
        }
        return read(named, faults, user, made, error);
    });
}

int telltale_extension_load(const char* const* paths, size_t count, telltale_fault_listener faults,
                            void* user, telltale_extension** extension, telltale_error* error) {
    return c::make(extension, error, [&](std::unique_ptr<telltale_extension>& made) {
        if (paths == nullptr && count != 0)
            return c::fail(error, TELLTALE_BAD_ARGUMENT, "the paths are null");
        if (count > most_texts)
            return c::fail(error, TELLTALE_TOO_LONG, "more than 10,000 texts");
        std::vector<std::string> texts;
        std::vector<const char*> names;
        std::size_t size = 0;
        for (std::size_t i = 0; i < count && size <= catalogue::Extension::max_text; ++i) {
            if (paths[i] == nullptr)
                return c::fail(error, TELLTALE_BAD_ARGUMENT, "a path is null");
            auto text = dump::read_whole(paths[i], catalogue::Extension::max_text);
            if (!text)
                return c::fail(error, text.error());
            size += text->size();
            texts.push_back(std::move(*text));
            names.push_back(paths[i]);
        }
        std::vector<catalogue::ExtensionText> named;
        for (std::size_t i = 0; i < texts.size(); ++i)
            named.push_back({names[i], texts[i]});
        return read(named, faults, user, made, error);
    });
}

void telltale_extension_free(telltale_extension* extension) {
    delete extension;
}

size_t telltale_extension_code(const telltale_extension* extension, uint16_t code, int failure_type,
                               char* buffer, size_t room) {
    if (extension == nullptr || (buffer == nullptr && room != 0) || failure_type < -1 ||
        failure_type > 0xFF)
        return 0;
    const std::string_view text =
        extension->extension->code_text(code, static_cast<std::int16_t>(failure_type));
    return c::copy_text(text, buffer, room);
}

} // extern "C"
