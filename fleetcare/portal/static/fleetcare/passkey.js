// Passkeys: asks the browser for one and sends what it answers with the form. Without this the forms stay hidden or unused.

const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));

function text(buffer) {
  const raw = String.fromCharCode(...new Uint8Array(buffer));
  return btoa(raw).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

const decoded = (list) => (list ?? []).map((each) => ({ ...each, id: bytes(each.id) }));

/** A new passkey that needs no password: kept on the device, unlocked by its owner. */
async function create(publicKey) {
  const made = await navigator.credentials.create({
    publicKey: {
      ...publicKey,
      challenge: bytes(publicKey.challenge),
      user: { ...publicKey.user, id: bytes(publicKey.user.id) },
      excludeCredentials: decoded(publicKey.excludeCredentials),
      authenticatorSelection: {
        ...publicKey.authenticatorSelection,
        residentKey: "required",
        requireResidentKey: true,
        userVerification: "required",
      },
    },
  });
  return told(made, {
    clientDataJSON: text(made.response.clientDataJSON),
    attestationObject: text(made.response.attestationObject),
    transports: made.response.getTransports?.() ?? [],
  });
}

/** An answer of a passkey that there is. */
async function get(publicKey) {
  const used = await navigator.credentials.get({
    publicKey: {
      ...publicKey,
      challenge: bytes(publicKey.challenge),
      allowCredentials: decoded(publicKey.allowCredentials),
    },
  });
  const { clientDataJSON, authenticatorData, signature, userHandle } = used.response;
  return told(used, {
    clientDataJSON: text(clientDataJSON),
    authenticatorData: text(authenticatorData),
    signature: text(signature),
    userHandle: userHandle ? text(userHandle) : null,
  });
}

function told(credential, response) {
  return {
    id: credential.id,
    rawId: text(credential.rawId),
    type: credential.type,
    response,
    clientExtensionResults: credential.getClientExtensionResults(),
  };
}

async function asked(form) {
  if (form.dataset.options) return JSON.parse(form.dataset.options);
  const answer = await fetch(form.action, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error(`no options: ${answer.status}`);
  return answer.json();
}

async function ceremony(form) {
  const options = await asked(form);
  const { publicKey } = options.creation_options ?? options.request_options;
  return options.creation_options ? create(publicKey) : get(publicKey);
}

for (const form of document.querySelectorAll("form[data-passkey]")) {
  if (!window.PublicKeyCredential) continue;
  form.hidden = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const fault = form.querySelector("[data-fault]");
    fault.hidden = true;
    try {
      form.elements.credential.value = JSON.stringify(await ceremony(form));
      form.submit();
    } catch {
      // Called off, timed out, or no passkey of this site: the reader chooses what to do next.
      fault.hidden = false;
    }
  });
}
